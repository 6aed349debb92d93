"""The slow, forgiving reader: for CSV files the fast one can't be trusted with.

It walks the file record by record, sets aside what can't be split with its reason and its text, and
writes the rest as a plain UTF-8 file of quoted fields that carries each record's number. A quote that is
never closed costs one record, not the rows behind it; a quote inside an unquoted field (3/4" pipe) is just a mark.
"""

from __future__ import annotations

import csv
import io
import re
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from fleet.ingest.csv_bytes import CsvFacts, open_bytes
from fleet.store.readers import LONGEST_LINE

MOST_LINES = 200
"""A quoted note longer than this many lines is taken for a quote that was never closed."""

NOT_IN_CP1252 = re.compile(rb"[\x81\x8d\x8f\x90\x9d]")
"""Bytes that stand for nothing in CP1252; a file that holds one is in Latin-1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A record that never reaches the tables: ``reason`` names why, ``blank`` marks those that are no data."""

    record: int
    reason: str
    text: str
    blank: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Repaired:
    """What the walk found: every record but the header is either written or set aside."""

    n_written: int
    set_aside: tuple[SetAside, ...]

    @property
    def n_records(self) -> int:
        """Records of the file, the header not counted."""
        return self.n_written + len(self.set_aside)


@dataclass(frozen=True, slots=True)
class Record:
    """One record: its ``text``, and its ``fields``, or the ``reason`` why it has none."""

    text: str
    fields: list[str] | None
    reason: str


def repair(path: Path, facts: CsvFacts, n_fields: int, to: Path, *, header_record: int = 1) -> Repaired:
    """Write the readable records of ``path`` to ``to`` (record number first), return the rest with reasons.

    Records keep their numbers in the file; those above the header are set aside as blank.
    """
    set_aside: list[SetAside] = []
    written = 0
    with to.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n")
        for number, record in enumerate(_records(path, facts, lambda n: n_fields if n > header_record else None), 1):
            if number < header_record:
                set_aside.append(SetAside(record=number, reason="above the header", text=record.text, blank=True))
            elif number > header_record and record.fields is not None and not _is_too_long(record):
                writer.writerow([number, *record.fields])
                written += 1
            elif number > header_record:
                reason = record.reason or "line_too_long"
                set_aside.append(SetAside(record=number, reason=reason, text=record.text, blank=reason == "empty line"))
    return Repaired(n_written=written, set_aside=tuple(set_aside))


def first_records(path: Path, facts: CsvFacts, n_records: int) -> list[Record]:
    """Return a file's first records, however many fields each has; they bear the numbers `repair` gives them."""
    return list(islice(_records(path, facts, lambda _: None), n_records))


def split_record(text: str, delimiter: str, n_fields: int | None) -> tuple[list[str] | None, str]:
    """Split one record into its fields; return no fields and the reason where it can't be split into so many.

    Parameters
    ----------
    text : str
        The record without its line end; quoted fields may hold line feeds.
    n_fields : int or None
        How many fields it must have; None where any number will do.
    """
    if "\x00" in text:
        return None, "nul_byte"
    try:
        # newline="": a line feed inside quotes belongs to the field
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        return None, "quote_not_closed" if "unexpected end" in str(error) else "quote_misplaced"
    if len(rows) != 1:
        return None, "quote_misplaced"
    fields = rows[0]
    if n_fields is None:
        return fields, ""
    while len(fields) > n_fields and not fields[-1].strip():
        fields.pop()
    if len(fields) != n_fields:
        return None, "too_many_fields" if len(fields) > n_fields else "too_few_fields"
    return fields, ""


def _is_too_long(record: Record) -> bool:
    """Tell whether a record, its fields quoted, is longer than the reader of the repaired file takes."""
    if len(record.text) < LONGEST_LINE // 16:
        return False
    return sum(len(field.encode()) + field.count('"') + 3 for field in record.fields or ()) + 30 > LONGEST_LINE


class _Lines:
    """The lines of a file, some of which may be put back."""

    def __init__(self, lines: Iterator[str]) -> None:
        self._lines = lines
        self._waiting: deque[str] = deque()

    def take(self) -> str | None:
        return self._waiting.popleft() if self._waiting else next(self._lines, None)

    def put_back(self, lines: Sequence[str]) -> None:
        self._waiting.extendleft(reversed(lines))


def _records(path: Path, facts: CsvFacts, n_fields_of: Callable[[int], int | None]) -> Iterator[Record]:
    """Walk a file; ``n_fields_of`` tells from a record's number how many fields it must have."""
    lines = _Lines(_lines_of(path, facts.encoding))
    longest_before = csv.field_size_limit(LONGEST_LINE)
    try:
        number = 1
        while (line := lines.take()) is not None:
            yield _next_record(line, lines, facts.delimiter, n_fields_of(number))
            number += 1
    finally:
        csv.field_size_limit(longest_before)


def _next_record(line: str, lines: _Lines, delimiter: str, n_fields: int | None) -> Record:
    """Return the record that begins with ``line``, taking the lines behind it that belong to its quoted fields."""
    text = line.removesuffix("\n")
    if not text:
        return Record("", None, "empty line")
    fields, reason = split_record(text, delimiter, n_fields)
    if reason != "quote_not_closed":
        return Record(text, fields, reason)
    taken, fields, reason = _until_closed(line, lines, delimiter, n_fields)
    if reason in ("quote_not_closed", "quote_misplaced") or _swallows_records(taken, delimiter, n_fields):
        # the quote that opened here was never meant to swallow the lines behind it
        lines.put_back(taken[1:])
        return Record(text, None, "quote_not_closed")
    return Record("".join(taken).removesuffix("\n"), fields, reason)


def _until_closed(
    line: str, lines: _Lines, delimiter: str, n_fields: int | None
) -> tuple[list[str], list[str] | None, str]:
    """Take lines until the open quote has its partner, or too many lines have passed."""
    taken = [line]
    while len(taken) < MOST_LINES and (more := lines.take()) is not None:
        taken.append(more)
        if '"' in more:
            fields, reason = split_record("".join(taken).removesuffix("\n"), delimiter, n_fields)
            if reason != "quote_not_closed":
                return taken, fields, reason
    return taken, None, "quote_not_closed"


def _swallows_records(taken: Sequence[str], delimiter: str, n_fields: int | None) -> bool:
    """Tell whether lines joined by an open quote are records of their own.

    A note over several lines and an open quote whose next quote happens to close a field look alike as one record;
    they differ line by line. Records are taken for swallowed where, the open quote being a mere mark, the first line
    has all fields of a record and so have most lines behind it, with cells of the same shape as the first line's
    before the open quote (V1001 like V87, 2024-06-01 like 2023-12-31), one with digits among them. A line of a note
    would need just as many delimiters and begin with such a key. With fewer than three fields that is too easily
    met, and the record stays whole.
    """
    if n_fields is None or n_fields < 3:
        return False
    first = _cells_alone(taken[0], delimiter, n_fields)
    if first is None:
        return False
    # the open quote's field is the last one that a reader finds in the first line
    n_before = len(next(csv.reader([taken[0]], delimiter=delimiter))) - 1
    key = [_shape(cell) for cell in first[:n_before]]
    behind = [_cells_alone(line, delimiter, n_fields) for line in taken[1:]]
    n_alike = sum(cells is not None and _is_alike(key, [_shape(c) for c in cells[:n_before]]) for cells in behind)
    return n_alike * 2 > len(behind)


def _cells_alone(line: str, delimiter: str, n_fields: int) -> list[str] | None:
    """Return a line's cells if it has so many on its own, an open quote in it being taken as a mere mark."""
    fields, reason = split_record(line.removesuffix("\n"), delimiter, n_fields)
    if reason == "quote_not_closed":
        *before, opened = next(csv.reader([line.removesuffix("\n")], delimiter=delimiter))
        fields = [*before, *opened.split(delimiter)]
    return fields if fields is not None and len(fields) == n_fields else None


def _shape(cell: str) -> str:
    """Return what a cell looks like: runs of letters as ``a``, runs of digits as ``9``."""
    return re.sub(r"\d+", "9", re.sub(r"[^\W\d_]+", "a", cell.strip()))


def _is_alike(key: Sequence[str], shapes: Sequence[str]) -> bool:
    """Tell whether most filled cells have the shape of the key's, one with digits among them."""
    pairs = [(a, b) for a, b in zip(key, shapes, strict=True) if a and b]
    equal = [a for a, b in pairs if a == b]
    return len(equal) * 2 > len(pairs) and any("9" in shape for shape in equal)


def _lines_of(path: Path, encoding: str) -> Iterator[str]:
    """Yield a file's lines as text, each ending in a line feed whatever the file's own line ends."""
    if encoding.startswith("utf-16"):
        with open_bytes(path) as stream:
            text = io.TextIOWrapper(stream, encoding=encoding, errors="replace", newline=None)
            yield from (line.removeprefix("\ufeff") for line in text)
        return
    other = _single_byte_encoding(path)
    with open_bytes(path) as stream:
        for number, raw in enumerate(stream):
            line = _decode(raw, other)
            line = line.removeprefix("\ufeff") if number == 0 else line
            yield from io.StringIO(line, newline=None)


def _single_byte_encoding(path: Path) -> str:
    """Return the encoding of a file's lines that aren't UTF-8: Latin-1 where one can't be CP1252, else CP1252."""
    with open_bytes(path) as stream:
        for raw in stream:
            if NOT_IN_CP1252.search(raw) and not _is_utf8(raw):
                return "latin-1"
    return "cp1252"


def _is_utf8(raw: bytes) -> bool:
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _decode(raw: bytes, other: str) -> str:
    """Decode one line: UTF-8 if it is that (hardly anything else looks like it), else the other encoding."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode(other)
