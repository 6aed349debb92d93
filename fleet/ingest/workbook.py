"""Sheets of an XLSX workbook as numbered CSV files, each held to a count made apart from the reader of its cells."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fleet.errors import SourceError
from fleet.ingest.csv_repair import SetAside
from fleet.ingest.header_row import MOST_ROWS, HeaderRecord, LooksLikeHeader, chosen_record, find_header
from fleet.ingest.workbook_count import SheetCount, WorkbookParts

if TYPE_CHECKING:
    from python_calamine import CalamineSheet, CalamineWorkbook


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenSheet:
    """A sheet written as a numbered CSV file.

    ``n_records`` is the independent count, the header included; ``set_aside`` are empty rows and those above the
    header. A row's number in the sheet is its record's.
    """

    headers: tuple[str, ...]
    header_record: int
    n_records: int
    n_written: int
    set_aside: tuple[SetAside, ...]


class Workbook:
    """A workbook open for reading; ``name`` is how reports call it."""

    def __init__(self, name: str, reader: CalamineWorkbook, parts: WorkbookParts) -> None:
        self.name = name
        self._reader, self._parts = reader, parts
        self._counts: dict[str, SheetCount] = {}

    def sheet_names(self) -> tuple[str, ...]:
        """Which sheets hold something, in the workbook's order?

        Hidden sheets are as good as visible ones, and so are hidden rows and columns: what is merely out of sight is
        still on record. Sheets of charts and empty sheets are left out.

        Raises
        ------
        SourceError
            If a sheet is damaged, or none holds anything.
        """
        found = tuple(sheet for sheet in self._parts.sheets if self._count(sheet).last_row)
        if not found:
            msg = f"{self.name} is empty; none of its sheets holds anything"
            raise SourceError(msg)
        return found

    def write(
        self,
        sheet: str,
        to: Path,
        *,
        header_record: HeaderRecord = None,
        looks_like_header: LooksLikeHeader | None = None,
    ) -> WrittenSheet:
        """Write a sheet's rows to ``to``, the record's number first, every cell as text.

        Raises
        ------
        SourceError
            If the sheet is missing, empty or damaged, or its two counts differ.
        """
        if sheet not in self._parts.sheets:
            msg = f"{self.name} has no sheet {sheet!r}; its sheets are {', '.join(self._parts.sheets)}"
            raise SourceError(msg)
        count = self._count(sheet)
        if not count.last_row:
            msg = f"{self.name}:{sheet} is empty; one of its first rows must name the columns"
            raise SourceError(msg)
        shown = f"{self.name}:{sheet}"
        with _reading(shown):
            read = self._reader.get_sheet_by_name(sheet)
        rows = self._rows(shown, read, count)
        said = chosen_record(shown, header_record, count.last_row)
        first = list(islice(rows, max(MOST_ROWS, said or 0)))
        header = said or find_header(first, looks_like_header=looks_like_header) + 1
        return _write_rows(chain(first, rows), to, header, _first_column(read), count.last_row)

    def _count(self, sheet: str) -> SheetCount:
        if sheet not in self._counts:
            self._counts[sheet] = self._parts.count(sheet)
        return self._counts[sheet]

    def _rows(self, shown: str, sheet: CalamineSheet, count: SheetCount) -> Iterator[list[str]]:
        """Yield a sheet's rows as text, from its first to the last that holds something, then compare the counts."""
        left = _first_column(sheet)
        # an error in a cell comes as nothing from the reader: the count has kept its text
        errors: dict[int, list[tuple[int, str]]] = {}
        for (row, column), text in count.errors.items():
            errors.setdefault(row, []).append((column - 1 - left, text))
        n_filled = last_row = 0
        for number, cells in enumerate(_guarded(shown, sheet.iter_rows), start=1):
            texts = [_text_of(cell) for cell in cells]
            for place, text in errors.get(number, ()):
                if 0 <= place < len(texts):
                    texts[place] = text
            if n_here := sum(bool(text.strip()) for text in texts):
                n_filled, last_row = n_filled + n_here, number
            if number <= count.last_row:
                yield texts[: count.last_column - left]
        n_counted = count.n_filled + len(count.errors)
        if (last_row, n_filled) != (count.last_row, n_counted):
            msg = (
                f"{shown} was read twice with different results (filled cells to row {last_row}: {n_filled}, then to "
                f"row {count.last_row}: {n_counted}); open the workbook and save it again, or save it as CSV"
            )
            raise SourceError(msg)


@contextmanager
def open_workbook(name: str, path: Path) -> Iterator[Workbook]:
    """Open a workbook.

    Raises
    ------
    SourceError
        If it is damaged, locked with a password, or no workbook at all.
    """
    import python_calamine  # only a workbook needs it

    parts = WorkbookParts(name, path)
    with _reading(name):
        reader = python_calamine.load_workbook(path)
    try:
        yield Workbook(name, reader, parts)
    finally:
        reader.close()


def _write_rows(rows: Iterator[list[str]], to: Path, header: int, first_column: int, n_records: int) -> WrittenSheet:
    set_aside: list[SetAside] = []
    headers: list[str] = []
    used: set[int] = set()
    n_written = 0
    with to.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, quoting=csv.QUOTE_ALL, lineterminator="\n")
        for number, row in enumerate(rows, start=1):
            if number == header:
                headers = [cell.strip() for cell in row]
            elif reason := _why_aside(row, above=number < header):
                text = "" if reason == "empty line" else _as_line(row)
                set_aside.append(SetAside(record=number, reason=reason, text=text, blank=reason != "nul_byte"))
            else:
                used.update(i for i, cell in enumerate(row) if cell)
                writer.writerow([number, *row])
                n_written += 1
    named = tuple(
        header or (f"column {_letters(first_column + i)}" if i in used else "") for i, header in enumerate(headers)
    )
    return WrittenSheet(
        headers=named, header_record=header, n_records=n_records, n_written=n_written, set_aside=tuple(set_aside)
    )


def _why_aside(row: Sequence[str], *, above: bool) -> str:
    """Return why a row is no record of the table, blank where it is one."""
    if above:
        return "above the header"
    if not any(cell.strip() for cell in row):
        return "empty line"
    return "nul_byte" if any("\x00" in cell for cell in row) else ""


def _as_line(row: Sequence[str]) -> str:
    """Return a row as a line of CSV."""
    text = io.StringIO()
    csv.writer(text, lineterminator="").writerow(row)
    return text.getvalue()


def _first_column(sheet: CalamineSheet) -> int:
    """Return the column, counted from 0, in which the reader begins a sheet's rows."""
    return int(sheet.start[1]) if sheet.start else 0


def _letters(column: int) -> str:
    """Return the letters of a column counted from 0.

    Examples
    --------
    >>> _letters(0), _letters(27)
    ('A', 'AB')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


@contextmanager
def _reading(shown: str) -> Iterator[None]:
    """Turn whatever the reader of cells raises into one clear sentence."""
    from python_calamine import PasswordError

    try:
        yield
    except PasswordError as error:
        msg = f"{shown} is locked with a password; save it without one, or as CSV"
        raise SourceError(msg) from error
    except BaseException as error:
        # a bug in the reader's own language comes as an exception of no Python kind
        if not isinstance(error, Exception) and type(error).__name__ != "PanicException":
            raise
        msg = f"{shown} is damaged ({error}); open it, save it again as .xlsx, or save it as CSV"
        raise SourceError(msg) from error


def _guarded(shown: str, rows: Callable[[], Iterator[list[Any]]]) -> Iterator[list[Any]]:
    """Yield what an iterator of the reader yields, its errors turned into sentences."""
    with _reading(shown):
        yield from rows()


def _text_of(cell: object) -> str:
    """Return a cell's value as text."""
    write = _WRITE.get(type(cell))
    return write(cell) if write else str(cell)


def _number(value: float) -> str:
    """Return a number in its shortest form; whole ones without a decimal point."""
    return str(int(value)) if value.is_integer() and abs(value) < 1e21 else repr(value)


def _moment(value: dt.datetime) -> str:
    """Return a point of time to the nearest second; a spreadsheet keeps it as a fraction of a day, never exact."""
    try:
        rounded = (value + dt.timedelta(microseconds=500_000)).replace(microsecond=0)
    except OverflowError:
        rounded = value.replace(microsecond=0)
    return rounded.date().isoformat() if rounded.time() == dt.time() else rounded.isoformat(" ")


def _clock(value: dt.time) -> str:
    """Return a time of day to the nearest second, the last one of the day at the latest."""
    seconds = value.hour * 3600 + value.minute * 60 + value.second + (value.microsecond >= 500_000)
    seconds = min(seconds, 86_399)
    return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"


def _duration(value: dt.timedelta) -> str:
    """Return a duration to the nearest second, hours running on beyond a day."""
    seconds = round(value.total_seconds())
    sign, seconds = ("-", -seconds) if seconds < 0 else ("", seconds)
    return f"{sign}{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}"


_WRITE: Mapping[type, Callable[[Any], str]] = {
    str: str,
    bool: lambda value: "yes" if value else "no",
    int: str,
    float: _number,
    dt.datetime: _moment,
    dt.date: dt.date.isoformat,
    dt.time: _clock,
    dt.timedelta: _duration,
}
"""How each type of cell becomes text."""
