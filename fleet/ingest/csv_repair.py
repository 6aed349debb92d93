"""The slow, forgiving reader: for CSV files the fast one can't be trusted with.

It walks the file record by record, sets aside what can't be split with its reason and its text, and
writes the rest as a plain UTF-8 file of quoted fields that carries each record's number. A quote that is
never closed costs one record, not the rows behind it; a quote inside an unquoted field (3/4" pipe) is just a mark.
"""

from __future__ import annotations

import csv
import io
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from fleet.ingest.csv_bytes import CsvFacts, open_bytes
from fleet.store.readers import LONGEST_LINE

MOST_LINES = 200
"""A quoted note longer than this many lines is taken for a quote that was never closed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A record that never reaches the tables: ``reason`` names why, ``blank`` marks empty lines."""

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


def repair(path: Path, facts: CsvFacts, n_fields: int, to: Path) -> Repaired:
    """Write the readable records of ``path`` to ``to`` (record number first), return the rest with reasons."""
    set_aside: list[SetAside] = []
    written = 0
    longest_before = csv.field_size_limit(LONGEST_LINE)
    with to.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n")
        lines = _lines(path, facts.encoding)
        for number, (text, fields, reason) in enumerate(_records(lines, facts.delimiter, n_fields), start=1):
            if number == 1:
                continue
            if reason or fields is None:
                set_aside.append(SetAside(record=number, reason=reason, text=text, blank=reason == "empty line"))
            else:
                writer.writerow([number, *fields])
                written += 1
    csv.field_size_limit(longest_before)
    return Repaired(n_written=written, set_aside=tuple(set_aside))


def _lines(path: Path, encoding: str) -> Iterator[str]:
    """Yield a file's lines as text, each ending in a line feed whatever the file's own line ends."""
    with open_bytes(path) as stream:
        if encoding.startswith("utf-16"):
            text = io.TextIOWrapper(stream, encoding=encoding, errors="replace", newline=None)
            yield from (line.removeprefix("\ufeff") for line in text)
            return
        for number, raw in enumerate(stream):
            line = _decode(raw, encoding)
            line = line.removeprefix("\ufeff") if number == 0 else line
            yield from io.StringIO(line, newline=None)


def _records(lines: Iterator[str], delimiter: str, n_fields: int) -> Iterator[tuple[str, list[str] | None, str]]:
    waiting: deque[str] = deque()

    def next_line() -> str | None:
        return waiting.popleft() if waiting else next(lines, None)

    while (line := next_line()) is not None:
        if not line.strip("\n"):
            yield "", None, "empty line"
            continue
        fields, reason = _split(line.removesuffix("\n"), delimiter, n_fields)
        if not reason or not line.count('"') % 2:
            yield line.removesuffix("\n"), fields, reason
            continue
        taken = _until_closed(line, next_line)
        fields, reason = _split("".join(taken).removesuffix("\n"), delimiter, n_fields)
        if reason in ("quote_not_closed", "quote_misplaced"):
            # the quote that opened here was never meant to swallow the lines behind it
            waiting.extendleft(reversed(taken[1:]))
            yield line.removesuffix("\n"), None, "quote_not_closed"
        else:
            yield "".join(taken).removesuffix("\n"), fields, reason


def _until_closed(line: str, next_line: Callable[[], str | None]) -> list[str]:
    """Take lines until every quote has its partner, or too many lines have passed."""
    taken = [line]
    n_quotes = line.count('"')
    while n_quotes % 2 and len(taken) < MOST_LINES and (more := next_line()) is not None:
        taken.append(more)
        n_quotes += more.count('"')
    return taken


def _split(text: str, delimiter: str, n_fields: int) -> tuple[list[str] | None, str]:
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
    while len(fields) > n_fields and not fields[-1].strip():
        fields.pop()
    if len(fields) != n_fields:
        return None, "too_many_fields" if len(fields) > n_fields else "too_few_fields"
    return fields, ""


def _decode(raw: bytes, encoding: str) -> str:
    """Decode one line; a line in another encoding than its file's is read as CP1252, then as Latin-1."""
    for name in (encoding, "utf-8", "cp1252"):
        try:
            return raw.decode(name)
        except UnicodeDecodeError:
            continue
    return raw.decode("latin-1")
