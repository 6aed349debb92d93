"""How a log with headers and words of its own is read: a small TOML file the tool drafts and the user corrects.

Shape: ``[[file]]`` (name, table, header_record, dates, decimal) with ``[[file.column]]`` (header, means, unit,
position, part, dates) and ``[[file.always]]`` (means, value); ``[[same]]`` (column, keep, written); ``[[word]]``
(column, written, means). The classes below say what each is for; a draft says it beside its lines.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fleet.errors import SourceError
from fleet.ingest.mapping_entry import Entry
from fleet.store.schema import SHEET_COLUMNS, TABLES, Column
from fleet.trade.components import COMPONENT_BY_NAME

SHEET_NAMES: Mapping[str, tuple[str, str]] = {
    "part_why": ("parts_used", "why"),
    "part_component": ("parts_used", "component"),
    "part_lot": ("parts_used", "lot"),
}
"""Sheet columns that land as a column of another name."""

ALSO: Mapping[str, tuple[str, ...]] = {"location": ("building",), "taken_from": ("location", "building")}
"""Columns that hold the values of another too: a shelf's place is a building."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MappedColumn:
    """What one column of a file means; ``means`` blank leaves it aside.

    ``unit`` is a code of `fleet.ingest.measures` where the column isn't in the contract's own unit; ``position``
    (the first is 1) tells columns of one header apart; ``part`` is "time" for a time of day whose date stands in
    another column; ``dates`` is mdy, dmy or blank.
    """

    header: str
    means: str
    unit: str = ""
    position: int | None = None
    part: str = ""
    dates: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Always:
    """A column of the contract the file lacks, with the value that holds for each of its records."""

    means: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FileMapping:
    """How one file, one sheet of a workbook or one table of a database is read; ``table`` blank leaves it aside.

    ``header_record`` is the record that holds the headers (1 is the file's first), None where it isn't said;
    ``dates`` and ``decimal`` are blank where the columns are to settle them.
    """

    name: str
    table: str
    header_record: int | None = None
    dates: str = ""
    decimal: str = ""
    columns: tuple[MappedColumn, ...] = ()
    always: tuple[Always, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Same:
    """Several spellings of one tag, building, person or part; ``keep`` is the one to go by."""

    column: str
    keep: str
    written: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WordMeaning:
    """What one of the log's own words means in one of the contract's short lists."""

    column: str
    written: str
    means: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LogMapping:
    """How a whole log is read: its files, the spellings that are one, the words of its own."""

    files: tuple[FileMapping, ...] = ()
    same: tuple[Same, ...] = ()
    words: tuple[WordMeaning, ...] = ()

    def file_for(self, name: str) -> FileMapping | None:
        """Return the mapping of the file called ``name`` (``book.xlsx:Sheet1``): its own, else the closest pattern."""
        for file in self.files:
            if file.name == name:
                return file
        fitting = [file for file in self.files if _fits(file.name, name)]
        return max(fitting, key=lambda file: len(file.name.replace("*", "")), default=None)

    def kept(self, table: str, column: str) -> dict[str, str]:
        """Return the spelling to keep for each other one in a column, by `plain_written`."""
        names = {column, f"{table}.{column}", *ALSO.get(column, ())}
        return {plain_written(w): same.keep for same in self.same if same.column in names for w in same.written}

    def meanings(self, table: str, column: str) -> dict[str, str]:
        """Return what each of the log's own words means in a column, by `plain_written`."""
        names = {column, f"{table}.{column}"}
        names |= {sheet for sheet, place in SHEET_NAMES.items() if place == (table, column)}
        return {plain_written(word.written): word.means for word in self.words if word.column in names}

    def to_plain(self) -> dict[str, Any]:
        """Return the mapping as JSON types, in the shape of its TOML file."""
        return {
            "file": [_file_plain(file) for file in self.files],
            "same": [{"column": s.column, "keep": s.keep, "written": list(s.written)} for s in self.same],
            "word": [{"column": w.column, "written": w.written, "means": w.means} for w in self.words],
        }

    @staticmethod
    def from_plain(plain: Mapping[str, Any], *, place: str = "the mapping") -> LogMapping:
        """Return the mapping kept as JSON types.

        Raises
        ------
        SourceError
            If something in it isn't known or doesn't fit; the sentence begins with ``place``.
        """
        root = Entry(place, plain)
        files = tuple(_file(entry) for entry in root.tables("file", "name"))
        same = tuple(_same(entry) for entry in root.tables("same", "keep"))
        words = tuple(_word(entry) for entry in root.tables("word", "written"))
        root.done()
        _refuse_twice(place, "file", [file.name for file in files])
        _refuse_twice(place, "same", [f"{s.column}: {plain_written(w)}" for s in same for w in s.written])
        _refuse_twice(place, "word", [f"{w.column}: {plain_written(w.written)}" for w in words])
        return LogMapping(files=files, same=same, words=words)


def read_mapping(path: Path) -> LogMapping:
    """Read a mapping file.

    Raises
    ------
    SourceError
        If the file can't be read, isn't TOML, or says something unknown: the sentence names the place and what is
        allowed there.
    """
    try:
        plain = tomllib.loads(path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n"))
    except OSError as error:
        msg = f"the mapping {path.name} can't be read ({error.strerror or error})"
        raise SourceError(msg) from error
    except UnicodeDecodeError as error:
        msg = f"the mapping {path.name} isn't UTF-8 text (byte {error.start + 1}); save it as UTF-8"
        raise SourceError(msg) from error
    except tomllib.TOMLDecodeError as error:
        msg = f"the mapping {path.name} isn't TOML: {error}"
        raise SourceError(msg) from error
    return LogMapping.from_plain(plain, place=path.name)


def plain_written(text: str) -> str:
    """Return a text without regard to case and runs of spaces, as `LogMapping.kept` and ``meanings`` are keyed."""
    return " ".join(text.split()).casefold()


def columns_of(table: str) -> dict[str, Column]:
    """Return the columns a file of ``table`` may carry, by name; a visits file may be a sheet."""
    return {c.name: c for c in TABLES[table].columns + (SHEET_COLUMNS if table == "visits" else ())}


def _fits(pattern: str, name: str) -> bool:
    parts = (re.escape(part) for part in pattern.split("*"))
    return "*" in pattern and re.fullmatch(".*".join(parts), name, re.IGNORECASE | re.DOTALL) is not None


def _file(entry: Entry) -> FileMapping:
    name = entry.text("name")
    table = entry.word("table", ("", *TABLES))
    file = FileMapping(
        name=name, table=table, header_record=entry.count("header_record"),
        dates=entry.word("dates", ("", "mdy", "dmy"), default=""),
        decimal=entry.word("decimal", ("", "point", "comma"), default=""),
        columns=tuple(_column(column, table) for column in entry.tables("column", "header")),
        always=tuple(_always(always, table) for always in entry.tables("always", "means")),
    )  # fmt: skip
    entry.done()
    if not name:
        entry.fail("name is blank; write the file's name, or * for any file")
    _refuse_meant_twice(entry, file)
    return file


def _column(entry: Entry, table: str) -> MappedColumn:
    known = columns_of(table) if table else {}
    header = entry.text("header")
    means = entry.word("means", ("", *known), of=f"no column of {table}") if table else entry.text("means")
    column = MappedColumn(
        header=header, means=means, unit=entry.unit(means), position=entry.count("position"),
        part=entry.word("part", ("", "time"), default=""), dates=entry.word("dates", ("", "mdy", "dmy"), default=""),
    )  # fmt: skip
    entry.done()
    if column.part and means and table and known[means].kind != "datetime":
        entry.fail(f'part = "time" needs a column of date and time; {means} is none')
    return column


def _always(entry: Entry, table: str) -> Always:
    if not table:
        entry.fail("the file is left aside (table is blank), so nothing can hold for its records")
    always = Always(
        means=entry.word("means", tuple(columns_of(table)), of=f"no column of {table}"), value=entry.text("value")
    )
    entry.done()
    if not always.value.strip():
        entry.fail("value is blank; write the value that holds for every record")
    return always


def _same(entry: Entry) -> Same:
    names = tuple(dict.fromkeys(c.name for t in TABLES.values() for c in t.columns if c.kind == "tag"))
    full = tuple(f"{name}.{c.name}" for name, t in TABLES.items() for c in t.columns if c.kind == "tag")
    same = Same(
        column=entry.word("column", names, also=full, of="no column of tags, places or people"),
        keep=entry.text("keep"), written=entry.texts("written"),
    )  # fmt: skip
    entry.done()
    if not same.keep.strip() or not same.written:
        entry.fail("keep and written must both say something")
    return same


def _word(entry: Entry) -> WordMeaning:
    lists = _short_lists()
    names = tuple(name for name in lists if "." not in name)
    column = entry.word("column", names, also=tuple(lists), of="no column with a short list of words")
    means = entry.word("means", lists[column], of=f"no word of {column}")
    word = WordMeaning(column=column, written=entry.text("written"), means=means)
    entry.done()
    if not word.written.strip():
        entry.fail("written is blank; write the word as it stands in the log")
    return word


def _short_lists() -> dict[str, tuple[str, ...]]:
    lists: dict[str, tuple[str, ...]] = {}
    for name, table in TABLES.items():
        for column in table.columns:
            if column.kind in ("word", "component"):
                allowed = column.words or tuple(COMPONENT_BY_NAME)
                lists[f"{name}.{column.name}"] = allowed
                lists[column.name] = tuple(dict.fromkeys((*lists.get(column.name, ()), *allowed)))
    for sheet, (table_name, column_name) in SHEET_NAMES.items():
        if f"{table_name}.{column_name}" in lists:
            lists[sheet] = lists[f"{table_name}.{column_name}"]
    return lists


def _refuse_meant_twice(entry: Entry, file: FileMapping) -> None:
    seen: dict[tuple[str, str], str] = {}
    said = [(column.means, column.part, f"the column {column.header!r}") for column in file.columns]
    said += [(always.means, "", "[[file.always]]") for always in file.always]
    for means, part, who in said:
        if means and (means, part) in seen and file.table:
            entry.fail(f'{seen[means, part]} and {who} both mean {means}; leave one of them aside with means = ""')
        seen[means, part] = who
    places = [(c.header, c.position) for c in file.columns]
    for header, position in places:
        if places.count((header, position)) > 1:
            entry.fail(
                f"the column {header!r} is listed twice; say position = 1, 2, … to tell columns of one header apart"
            )


def _refuse_twice(place: str, kind: str, names: list[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            msg = f"{place}: [[{kind}]] says {name!r} twice; keep one"
            raise SourceError(msg)


def _file_plain(file: FileMapping) -> dict[str, Any]:
    columns = [
        {"header": c.header, "means": c.means}
        | {key: value for key in ("unit", "position", "part", "dates") if (value := getattr(c, key))}
        for c in file.columns
    ]
    plain: dict[str, Any] = {"name": file.name, "table": file.table}
    plain |= {key: value for key in ("header_record", "dates", "decimal") if (value := getattr(file, key))}
    always = [{"means": a.means, "value": a.value} for a in file.always]
    return plain | {"column": columns, "always": always}
