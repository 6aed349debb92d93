"""A source's table as text, ready for one SQL statement: CSV read straight, CSV repaired first, or SQLite.

Every raw table has the columns ``c0 .. cn`` (text, in the file's order) and ``record``, which is null where
record numbers follow from the row's place (the n-th row is record n + 1, the header being record 1).
"""

from __future__ import annotations

import csv
import io
import itertools
import sqlite3
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from fleet.errors import SourceError
from fleet.ingest.csv_bytes import CsvCount, CsvFacts, count_records, look_at_csv, open_bytes
from fleet.ingest.csv_repair import SetAside, repair
from fleet.store.database import Database, EngineError
from fleet.store.readers import csv_relation, numbered_csv_relation

if TYPE_CHECKING:
    import pyarrow as pa

BATCH = 50_000
LARGE = 16_000_000
"""Bytes; the records of a larger CSV file are counted while the fast reader is at work on it."""
SAMPLE = 400
"""Records from a file's beginning by which a large file's readers are chosen (never what is true of it)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """One table of one source file, as text.

    ``counting`` is the independent count that the load is held to; ``set_aside`` are records that
    couldn't be split into fields.
    """

    source: str
    path: Path
    member: str
    headers: tuple[str, ...]
    counting: Future[CsvCount]
    facts: CsvFacts | None = None
    repaired: bool = False
    set_aside: tuple[SetAside, ...] = ()

    @property
    def name(self) -> str:
        """How reports call it: the file, and the table inside a SQLite file."""
        return f"{self.source}:{self.member}" if self.member else self.source

    @property
    def n_records(self) -> int:
        """Records, the header not counted; waits for the count to end."""
        return self.counting.result().records - 1

    @property
    def is_large(self) -> bool:
        """Whether it pays to look at a sample before reading it."""
        return self.facts is not None and self.facts.n_bytes > LARGE

    def run(self, database: Database, statement: Callable[[str], str]) -> int:
        """Run ``statement(relation)`` where the relation yields c0 .. cn and record; return the rows it wrote."""
        if self.facts is not None:
            return int(database.value(statement(self._csv_relation(self.facts))) or 0)
        with closing(_open_sqlite(self.path)) as connection:
            reader = _sqlite_batches(connection, self.member, self.headers)
            made = statement("(select *, null::bigint as record from raw_rows)")
            return database.run_with(made, "raw_rows", reader)

    def sample(self) -> list[list[str]]:
        """Return the first records of a CSV file, as far as they can be split."""
        if self.facts is None:
            return []
        with open_bytes(self.path) as stream:
            text = stream.read(SAMPLE * 1000).decode("utf-8", errors="replace")
        delimiter = "," if self.repaired else self.facts.delimiter
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        first = [row[1:] if self.repaired else row for row in itertools.islice(rows, 1, SAMPLE)]
        return [row for row in first if len(row) == len(self.headers)]

    def with_repair(self, scratch: Path) -> RawTable:
        """Return the same table read by the slow, forgiving reader; scratch files go to ``scratch``."""
        if self.facts is None:
            return self
        scratch.mkdir(parents=True, exist_ok=True)
        clean = scratch / f"repaired_{self.path.name.removesuffix('.gz')}"
        found = repair(self.path, self.facts, len(self.headers), clean)
        counting = _done(CsvCount(records=found.n_records + 1, regular=True))
        return replace(self, path=clean, repaired=True, set_aside=found.set_aside, counting=counting)

    def _csv_relation(self, facts: CsvFacts) -> str:
        if self.repaired:
            return numbered_csv_relation(self.path, len(self.headers))
        return csv_relation(self.path, len(self.headers), facts.delimiter)


def raw_csv(name: str, path: Path, *, scratch: Path) -> RawTable:
    """Open one CSV file; a file the fast reader can't be trusted with is repaired first.

    Raises
    ------
    SourceError
        If the file is empty, can't be read or has no header.
    """
    facts = look_at_csv(name, path)
    headers = _split_header(name, facts)
    if facts.n_bytes > LARGE and facts.encoding == "utf-8":
        pool = ThreadPoolExecutor(max_workers=1)
        counting = pool.submit(count_records, name, path, facts.encoding)
        pool.shutdown(wait=False)
        return RawTable(source=name, path=path, member="", headers=headers, counting=counting, facts=facts)
    count = count_records(name, path, facts.encoding)
    table = RawTable(source=name, path=path, member="", headers=headers, counting=_done(count), facts=facts)
    return table if count.regular else table.with_repair(scratch)


def raw_sqlite(name: str, path: Path, member: str) -> RawTable:
    """Open one table of a SQLite file.

    Raises
    ------
    SourceError
        If the table can't be read.
    """
    try:
        with closing(_open_sqlite(path)) as connection:
            cursor = connection.execute(f"select * from {_quoted(member)} limit 0")  # noqa: S608
            headers = tuple(str(column[0]) for column in cursor.description)
            n_records = int(connection.execute(f"select count(*) from {_quoted(member)}").fetchone()[0])  # noqa: S608
    except sqlite3.Error as error:
        msg = f"{name}: the table {member} can't be read ({error})"
        raise SourceError(msg) from error
    counting = _done(CsvCount(records=n_records + 1, regular=True))
    return RawTable(source=name, path=path, member=member, headers=headers, counting=counting)


ReadError = (EngineError, sqlite3.Error)
"""What reading a raw table may raise; a CSV file is then read again by the forgiving reader."""


def _done(count: CsvCount) -> Future[CsvCount]:
    future: Future[CsvCount] = Future()
    future.set_result(count)
    return future


def _split_header(name: str, facts: CsvFacts) -> tuple[str, ...]:
    try:
        headers = next(csv.reader(io.StringIO(facts.header), delimiter=facts.delimiter, strict=True))
    except (csv.Error, StopIteration) as error:
        msg = f"{name}: the header line can't be split ({error})"
        raise SourceError(msg) from error
    return tuple(header.strip() for header in headers)


def _open_sqlite(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(f"file:{path.resolve().as_posix()}?mode=ro", uri=True, check_same_thread=False)
    # a text that isn't UTF-8 must not stop the load
    connection.text_factory = lambda raw: raw.decode("utf-8", errors="replace")
    return connection


def _sqlite_batches(connection: sqlite3.Connection, member: str, headers: tuple[str, ...]) -> pa.RecordBatchReader:
    import pyarrow as pa  # half a second that a load of CSV files needn't wait for

    schema = pa.schema([(f"c{i}", pa.string()) for i in range(len(headers))])
    columns = ", ".join(f"nullif(cast({_quoted(header)} as text), '')" for header in headers)
    cursor = connection.execute(f"select {columns} from {_quoted(member)}")  # noqa: S608

    def batches() -> Iterator[pa.RecordBatch]:
        while rows := cursor.fetchmany(BATCH):
            yield pa.record_batch([pa.array(column, pa.string()) for column in zip(*rows, strict=True)], schema=schema)

    return pa.RecordBatchReader.from_batches(schema, batches())


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
