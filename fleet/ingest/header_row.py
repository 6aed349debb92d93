"""Which row names the columns, where titles, empty rows and notes stand above it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from fleet.errors import SourceError
from fleet.ingest.csv_bytes import DELIMITERS, READING_FAILS, CsvFacts
from fleet.ingest.csv_repair import Record, first_records

MOST_ROWS = 30
"""Rows from a table's beginning among which its header is looked for."""

LooksLikeHeader = Callable[[Sequence[str]], bool]
"""Tells whether a row's cells are column names somebody knows."""

HeaderRecord = int | Callable[[str], int | None] | None
"""Which record holds the headers (1 is the first): for every table of a file, by a table's name, or not said."""


def find_header(rows: Sequence[Sequence[str]], *, looks_like_header: LooksLikeHeader | None = None) -> int:
    """Which of a table's first rows is its header?

    Parameters
    ----------
    rows : sequence of sequences of str
        The table's rows from the first on; an empty row has no cells, or empty ones.
    looks_like_header : callable, optional
        Tells a header by its words; without it, a row whose cells name the needed columns of some log table.

    Returns
    -------
    int
        Index of the first row of known words. Where no row has any, the first row with more than half as many
        filled cells as the fullest one: a title fills one or two cells, a header nearly all. 0 where all are empty.

    Examples
    --------
    >>> find_header([["Cooling calls 2024"], [], ["unit", "date", "notes"], ["U1", "2024-06-01", ""]])
    2
    """
    looks = looks_like_header or names_a_table
    first = rows[:MOST_ROWS]
    filled = [0 if _names_delimiter(row) else sum(bool(cell.strip()) for cell in row) for row in first]
    for i, row in enumerate(first):
        if filled[i] and looks(row):
            return i
    fullest = max(filled, default=0)
    return next((i for i, n_filled in enumerate(filled) if n_filled * 2 > fullest), 0)


def names_a_table(row: Sequence[str]) -> bool:
    """Tell whether a row's cells name the needed columns of some log table."""
    from fleet.ingest.headers import best_table  # here, so that a reader of bytes needn't know the contract

    return best_table(row) is not None


def chosen_record(name: str, header_record: HeaderRecord, n_records: int) -> int | None:
    """Return the record that was said to hold a table's headers, None where nothing was said.

    Parameters
    ----------
    name : str
        The table's name in reports.
    n_records : int
        How many records there are to choose from.

    Raises
    ------
    SourceError
        If there is no such record.
    """
    said = header_record(name) if callable(header_record) else header_record
    if said is None or 1 <= said <= n_records:
        return said
    msg = f"{name}: record {said} is said to hold the headers, but the file has {n_records} in all; name one of them"
    raise SourceError(msg)


def csv_header(
    name: str,
    path: Path,
    facts: CsvFacts,
    *,
    header_record: HeaderRecord = None,
    looks_like_header: LooksLikeHeader | None = None,
) -> tuple[CsvFacts, int, tuple[str, ...]]:
    """Which record of a CSV file names its columns, and how?

    Returns
    -------
    tuple of CsvFacts, int and tuple of str
        ``facts``, with another delimiter where only that one gives a row of known words; the header's record, the
        first being 1; the names.

    Raises
    ------
    SourceError
        If the file or its header can't be read, or there is no such record as was said.
    """
    try:
        return _csv_header(name, path, facts, header_record, looks_like_header or names_a_table)
    except READING_FAILS as error:
        msg = f"{name} can't be read ({error})"
        raise SourceError(msg) from error


def _csv_header(
    name: str, path: Path, facts: CsvFacts, header_record: HeaderRecord, looks: LooksLikeHeader
) -> tuple[CsvFacts, int, tuple[str, ...]]:
    n_first = max(MOST_ROWS, (header_record(name) if callable(header_record) else header_record) or 0)
    first = first_records(path, facts, n_first)
    said = chosen_record(name, header_record, len(first))
    if said is None:
        for mark in sorted(DELIMITERS, key=lambda mark: mark != facts.delimiter):
            tried = replace(facts, delimiter=mark)
            records = first if mark == facts.delimiter else first_records(path, tried, n_first)
            place = find_header([record.fields or [] for record in records], looks_like_header=looks)
            if looks(records[place].fields or []):
                return tried, place + 1, _names_of(records[place])
    place = said - 1 if said else find_header([r.fields or [] for r in first], looks_like_header=looks)
    broken = next((record for record in first[: place + 1] if record.fields is None and record.text), None)
    if broken is not None and (said is None or broken is first[place]):
        msg = f"{name}: the header line can't be split ({broken.reason.replace('_', ' ')}); export the file again"
        raise SourceError(msg)
    return facts, place + 1, _names_of(first[place])


def _names_of(record: Record) -> tuple[str, ...]:
    return tuple(field.strip() for field in record.fields or ())


def _names_delimiter(row: Sequence[str]) -> bool:
    """Tell whether a row is the line by which a spreadsheet program names a CSV file's delimiter (``sep=;``)."""
    return bool(row) and row[0].strip().lower().startswith("sep=")
