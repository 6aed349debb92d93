"""A source's table as text, ready for one SQL statement: CSV read straight, a numbered CSV file, or SQLite.

Every raw table has the columns ``c0 .. cn`` (text, in the file's order) and ``record``, which is null where
record numbers follow from the row's place (the n-th row is record n + 1, the header being record 1). A CSV file that
the fast reader can't be trusted with and a sheet of a workbook are written anew as numbered CSV files first.
"""

from __future__ import annotations

import contextlib
import csv
import io
import itertools
import sqlite3
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from fleet.errors import SourceError
from fleet.ingest.csv_bytes import (
    READING_FAILS,
    CsvCount,
    CsvFacts,
    count_records,
    look_at_csv,
    open_bytes,
    scratch_file,
)
from fleet.ingest.csv_repair import SetAside, repair
from fleet.ingest.header_row import HeaderRecord, LooksLikeHeader, csv_header
from fleet.ingest.sources import kind_of, sqlite_tables
from fleet.ingest.sqlite_file import SqliteTable, look_at_table, settle_sqlite
from fleet.ingest.sqlite_rows import first_rows, run_sqlite
from fleet.ingest.workbook import Workbook, open_workbook
from fleet.store.database import Database, EngineError
from fleet.store.readers import csv_relation, numbered_csv_relation

LARGE = 16_000_000
"""Bytes; the records of a larger CSV file are counted while the fast reader is at work on it."""
SAMPLE = 400
"""Records from a file's beginning by which a large file's readers are chosen (never what is true of it)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """One table of one source file, as text.

    ``member`` names the sheet or the table inside the file. ``counting`` is the independent count that the load is
    held to; ``set_aside`` are records that couldn't be split into fields or stand above the header, which is record
    ``header_record``. ``repaired`` says that ``path`` is a numbered CSV file made from the source.
    """

    source: str
    path: Path
    member: str
    headers: tuple[str, ...]
    counting: Future[CsvCount]
    facts: CsvFacts | None = None
    repaired: bool = False
    set_aside: tuple[SetAside, ...] = ()
    header_record: int = 1

    @property
    def name(self) -> str:
        """How reports call it: the file, and the sheet or table inside it (``book.xlsx:Sheet1``)."""
        return f"{self.source}:{self.member}" if self.member else self.source

    @property
    def n_records(self) -> int:
        """Records, the header not counted; waits for the count to end."""
        return self.counting.result().records - 1

    @property
    def is_large(self) -> bool:
        """Whether it pays to look at a sample before reading it."""
        return self.facts is not None and self.facts.n_bytes > LARGE

    @property
    def delimiter(self) -> str:
        """What separates the fields in the text of a record that is set aside."""
        return self.facts.delimiter if self.facts else ","

    def run(self, database: Database, statement: Callable[[str], str]) -> int:
        """Run ``statement(relation)`` where the relation yields c0 .. cn and record; return the rows it wrote.

        Raises
        ------
        SourceError
            If a row of a SQLite table can't be read.
        """
        if self.facts is not None or self.repaired:
            return int(database.value(statement(self._csv_relation(self.facts))) or 0)
        return run_sqlite(database, statement, self._sqlite_table())

    def sample(self) -> list[list[str]]:
        """Return the first records, those of a CSV file as far as they can be split; blank cells are empty texts."""
        if self.facts is None and not self.repaired:
            return first_rows(self._sqlite_table(), SAMPLE)
        with open_bytes(self.path) as stream:
            text = stream.read(SAMPLE * 1000).decode("utf-8", errors="replace")
        rows = csv.reader(io.StringIO(text, newline=""), delimiter="," if self.repaired else self.delimiter)
        first: list[list[str]] = []
        # a cell longer than the reader takes ends the sample, not the load
        with contextlib.suppress(csv.Error):
            first.extend(itertools.islice(rows, SAMPLE))
        body = [row[1:] for row in first] if self.repaired else first[1:]
        return [row for row in body if len(row) == len(self.headers)]

    def with_repair(self, scratch: Path) -> RawTable:
        """Return the same table read by the slow, forgiving reader; scratch files go to ``scratch``."""
        if self.facts is None or self.repaired:
            return self
        clean = scratch_file(scratch, ".csv")
        try:
            found = repair(self.path, self.facts, len(self.headers), clean, header_record=self.header_record)
        except READING_FAILS as error:
            msg = f"{self.name} can't be read ({error})"
            raise SourceError(msg) from error
        return replace(self, path=clean, repaired=True, set_aside=found.set_aside, counting=_done(found.n_records + 1))

    def _sqlite_table(self) -> SqliteTable:
        return SqliteTable(
            source=self.source, path=self.path, member=self.member, headers=self.headers, n_rows=self.n_records
        )

    def _csv_relation(self, facts: CsvFacts | None) -> str:
        if self.repaired or facts is None:
            return numbered_csv_relation(self.path, len(self.headers))
        return csv_relation(self.path, len(self.headers), facts.delimiter, gzipped=facts.gzipped)


def open_tables(
    name: str,
    path: Path,
    *,
    scratch: Path,
    header_record: HeaderRecord = None,
    looks_like_header: LooksLikeHeader | None = None,
) -> list[RawTable]:
    """Which tables does a source file hold?

    Parameters
    ----------
    name : str
        How reports call the file; its ending plays no part but for files that are no log.
    path : Path
        Where it lies.
    scratch : Path
        Folder for files made on the way; they must last as long as the tables.
    header_record : int or callable, optional
        The record that holds the headers, for every table of the file or by a table's name in reports; it wins over
        the guess. A SQLite table has no such record.
    looks_like_header : callable, optional
        Tells by a row's cells whether they are column names, see `fleet.ingest.header_row.find_header`.

    Returns
    -------
    list of RawTable
        A CSV file's one table; each sheet of a workbook that holds something; each table or view of a SQLite file
        whose name is that of a log's table, or, where there is none, all that can be read.

    Raises
    ------
    SourceError
        If the file, or a table that belongs to the log, can't be read.
    """
    kind = kind_of(name, path)
    if kind == "sqlite":
        return _sqlite_tables(name, settle_sqlite(path, scratch))
    if kind == "workbook":
        with open_workbook(name, path) as book:
            return [_sheet(book, sheet, scratch, header_record, looks_like_header) for sheet in book.sheet_names()]
    return [raw_csv(name, path, scratch=scratch, header_record=header_record, looks_like_header=looks_like_header)]


def raw_csv(
    name: str,
    path: Path,
    *,
    scratch: Path,
    header_record: HeaderRecord = None,
    looks_like_header: LooksLikeHeader | None = None,
) -> RawTable:
    """Open one CSV file; one that the fast reader can't be trusted with is repaired first.

    Raises
    ------
    SourceError
        If the file is empty, can't be read or has no header.
    """
    facts, record, headers = csv_header(
        name, path, look_at_csv(name, path), header_record=header_record, looks_like_header=looks_like_header
    )
    if facts.n_bytes > LARGE and facts.encoding == "utf-8" and record == 1:
        pool = ThreadPoolExecutor(max_workers=1)
        counting = pool.submit(
            count_records, name, path, facts.encoding, n_fields=len(headers), delimiter=facts.delimiter
        )
        pool.shutdown(wait=False)
        return RawTable(source=name, path=path, member="", headers=headers, counting=counting, facts=facts)
    count = count_records(name, path, facts.encoding, n_fields=len(headers), delimiter=facts.delimiter)
    table = RawTable(
        source=name, path=path, member="", headers=headers, counting=_done(count.records), facts=facts,
        header_record=record,
    )  # fmt: skip
    return table if count.regular and record == 1 else table.with_repair(scratch)


def raw_workbook(
    name: str,
    path: Path,
    sheet: str,
    *,
    scratch: Path,
    header_record: HeaderRecord = None,
    looks_like_header: LooksLikeHeader | None = None,
) -> RawTable:
    """Open one sheet of a workbook.

    Raises
    ------
    SourceError
        If the workbook can't be read, or the sheet is missing or empty.
    """
    with open_workbook(name, path) as book:
        return _sheet(book, sheet, scratch, header_record, looks_like_header)


def raw_sqlite(name: str, path: Path, member: str) -> RawTable:
    """Open one table or view of a SQLite file (a settled one: `settle_sqlite`).

    Raises
    ------
    SourceError
        If the table can't be read.
    """
    table = look_at_table(name, path, member)
    return RawTable(source=name, path=path, member=member, headers=table.headers, counting=_done(table.n_rows + 1))


def numbered_table(
    source: str,
    path: Path,
    *,
    member: str,
    headers: tuple[str, ...],
    n_written: int,
    set_aside: tuple[SetAside, ...] = (),
) -> RawTable:
    """Return the table of a numbered CSV file: quoted fields in UTF-8, the record's number first, no header line."""
    return RawTable(
        source=source, path=path, member=member, headers=headers, counting=_done(n_written + len(set_aside) + 1),
        repaired=True, set_aside=set_aside,
    )  # fmt: skip


ReadError = (EngineError, sqlite3.Error)
"""What reading a raw table may raise; a CSV file is then read again by the forgiving reader."""


def _done(n_records: int) -> Future[CsvCount]:
    """Return a count, the header included, that has ended."""
    future: Future[CsvCount] = Future()
    future.set_result(CsvCount(records=n_records, regular=True))
    return future


def _sqlite_tables(name: str, path: Path) -> list[RawTable]:
    found = []
    refused: SourceError | None = None
    for member, table in sqlite_tables(path, name):
        try:
            found.append(raw_sqlite(name, path, member))
        except SourceError as error:
            # what makes no sense to SQLite itself (a view of a table that is gone) has no headers to be known by;
            # what is damaged or in use, or belongs to the log by name, must not be left out
            if table is not None or getattr(error.__cause__, "sqlite_errorname", "") != "SQLITE_ERROR":
                raise
            refused = error
    if not found and refused is not None:
        raise refused
    return found


def _sheet(
    book: Workbook,
    sheet: str,
    scratch: Path,
    header_record: HeaderRecord,
    looks_like_header: LooksLikeHeader | None,
) -> RawTable:
    numbered = scratch_file(scratch, ".csv")
    written = book.write(sheet, numbered, header_record=header_record, looks_like_header=looks_like_header)
    return RawTable(
        source=book.name, path=numbered, member=sheet, headers=written.headers, counting=_done(written.n_records),
        repaired=True, set_aside=written.set_aside, header_record=written.header_record,
    )  # fmt: skip
