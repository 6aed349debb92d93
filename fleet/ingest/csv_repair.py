"""The slow, forgiving reader: for CSV files the fast one can't be trusted with.

It walks the file record by record, sets aside what can't be split with its reason and its text, and
writes the rest as a plain UTF-8 file of quoted fields that carries each record's number. A quote that is
never closed costs one record, not the rows behind it.
"""

from __future__ import annotations

import csv
import io
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from fleet.ingest.csv_bytes import CsvFacts, open_bytes

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
    with _open_text(path, facts) as lines, to.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n")
        for number, (text, fields, reason) in enumerate(_records(lines, facts.delimiter, n_fields), start=1):
            if number == 1:
                continue
            if reason or fields is None:
                set_aside.append(SetAside(record=number, reason=reason, text=text, blank=reason == "empty line"))
            else:
                writer.writerow([number, *fields])
                written += 1
    return Repaired(n_written=written, set_aside=tuple(set_aside))


def _open_text(path: Path, facts: CsvFacts) -> TextIO:
    with open_bytes(path) as stream:
        data = stream.read()
    for encoding in (facts.encoding, "utf-8", "cp1252"):
        try:
            text = data.decode(encoding)
            break
        except UnicodeDecodeError:
            continue
    else:
        text = data.decode("latin-1")
    return io.StringIO(text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n"))


def _records(lines: TextIO, delimiter: str, n_fields: int) -> Iterator[tuple[str, list[str] | None, str]]:
    waiting: deque[str] = deque()

    def next_line() -> str | None:
        return waiting.popleft() if waiting else (lines.readline() or None)

    while (line := next_line()) is not None:
        if not line.strip("\n"):
            yield "", None, "empty line"
            continue
        taken = [line]
        n_quotes = line.count('"')
        while n_quotes % 2 and len(taken) < MOST_LINES and (more := next_line()) is not None:
            taken.append(more)
            n_quotes += more.count('"')
        fields, reason = _split("".join(taken).removesuffix("\n"), delimiter, n_fields)
        if reason and len(taken) > 1:
            # the quote that opened here was never meant to swallow the lines behind it
            waiting.extendleft(reversed(taken[1:]))
            yield line.removesuffix("\n"), None, "quote_not_closed"
        else:
            yield "".join(taken).removesuffix("\n"), fields, reason


def _split(text: str, delimiter: str, n_fields: int) -> tuple[list[str] | None, str]:
    if text.count('"') % 2:
        return None, "quote_not_closed"
    if "\x00" in text:
        return None, "nul_byte"
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error:
        return None, "quote_misplaced"
    if len(rows) != 1:
        return None, "quote_misplaced"
    fields = rows[0]
    while len(fields) > n_fields and not fields[-1].strip():
        fields.pop()
    if len(fields) != n_fields:
        return None, "too_many_fields" if len(fields) > n_fields else "too_few_fields"
    return fields, ""
