"""Which column of the log contract a header means: case, spaces, punctuation, units and the trade's synonyms.

To teach the loader another word for a column, add it to ``fleet/ingest/synonyms.py`` under its table,
and to the test beside it. What a mapping file says always wins.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from fleet.errors import SourceError
from fleet.ingest.guess_fit import fit
from fleet.ingest.guess_names import Match, header_words, look_up, plain
from fleet.ingest.guess_values import ColumnValues
from fleet.ingest.mapping import FileMapping, MappedColumn, columns_of
from fleet.store.schema import TABLES, Column

DRAFTING = "let dogdays draft a mapping: load … --draft-mapping FILE"

CHECKED = ("date", "datetime", "number", "count", "money", "yesno")
"""Kinds whose values a wrong synonym would refuse by the thousand."""

DAY_GIVERS = ("reported_at", "arrived_at", "finished_at")
"""Whose date a bare time of day shares, in this order."""

ENOUGH = 5
"""Filled cells of a sample from which on it may speak against a synonym."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderPlan:
    """How one file's columns are understood.

    ``columns`` holds (position in the file, column of the contract); ``sheet`` says that a visits file
    carries readings, parts or equipment of its own; ``not_understood`` names headers left aside.

    ``units`` has the unit of columns that aren't in the contract's own (a code of `fleet.ingest.measures`);
    ``clock`` the position of a companion column that holds a date's time of day; ``day_from`` the column whose date
    such a time shares where it has none of its own (its position stands in ``columns`` too); ``always`` the columns
    the file lacks, with the value for every record; ``dates`` the order of day and month the mapping says;
    ``not_found`` headers the mapping names that this file doesn't have.
    """

    table: str
    headers: tuple[str, ...]
    columns: tuple[tuple[int, Column], ...]
    not_understood: tuple[str, ...]
    sheet: bool
    units: Mapping[str, str] = field(default_factory=dict)
    clock: Mapping[str, int] = field(default_factory=dict)
    day_from: Mapping[str, str] = field(default_factory=dict)
    always: tuple[tuple[Column, str], ...] = ()
    dates: Mapping[str, str] = field(default_factory=dict)
    not_found: tuple[str, ...] = ()


def understand_headers(
    file_name: str,
    table: str,
    headers: Sequence[str],
    mapped: FileMapping | None = None,
    *,
    sample: Sequence[Sequence[str]] = (),
) -> HeaderPlan:
    """Match a file's headers to the contract's columns of ``table``.

    Parameters
    ----------
    mapped : FileMapping, optional
        What the user's mapping says of this file; headers it doesn't name are understood as without one.
    sample : sequence of records
        Some records of the file. Where most values of a date, number, money or yes/no column can't be read, a
        synonym isn't believed; a column of bare times of day takes its date from the call's.

    Raises
    ------
    SourceError
        If a needed column is missing, two headers mean the same column, or the mapping names a header that isn't
        there.
    """
    finder = _Finder(file_name, table, headers, sample)
    not_found = finder.take_mapped(mapped) if mapped else ()
    finder.take_own_names()
    finder.take_synonyms()
    finder.take_clocks()
    known = columns_of(table)
    always = tuple((known[one.means], one.value) for one in mapped.always) if mapped else ()
    always = tuple(pair for pair in always if pair[0].name not in finder.taken)
    columns = sorted(((position, known[name]) for name, position in finder.taken.items()), key=lambda pair: pair[0])
    _require_needed(file_name, table, headers, [*finder.taken, *(column.name for column, _ in always)])
    own = {column.name for column in TABLES[table].columns}
    used = {*finder.taken.values(), *finder.clock.values(), *finder.aside}
    return HeaderPlan(
        table=table, headers=tuple(headers), columns=tuple(columns),
        not_understood=tuple(h for i, h in enumerate(headers) if i not in used and h.strip()),
        sheet=table == "visits" and not own.issuperset([*finder.taken, *(column.name for column, _ in always)]),
        units=finder.units, clock=finder.clock, day_from=finder.day_from, always=always, dates=finder.dates,
        not_found=not_found,
    )  # fmt: skip


def best_table(headers: Sequence[str]) -> str | None:
    """Return the table whose columns these headers fit best, None where too few fit to say."""
    found = {plain(header): header for header in headers if header.strip()}
    scores = {}
    for name, described in TABLES.items():
        hits = {matches[0].column.name for header in found.values() if (matches := look_up(name, header))}
        needed = {c.name for c in described.columns if c.needed}
        if needed <= hits:
            scores[name] = len(hits) / max(len(found), 1) + 0.01 * len(hits)
    return max(scores, key=lambda name: scores[name]) if scores else None


def is_time_of_day(header: str) -> bool:
    """Return whether a header speaks of a time of day without its date: ``Call Time``, ``Time In``."""
    words = header_words(header)
    return "time" in words and not {"date", "day", "datetime"} & set(words)


class _Finder:
    """Finds a place for each header of one file, step by step; what is taken stays taken."""

    def __init__(self, file_name: str, table: str, headers: Sequence[str], sample: Sequence[Sequence[str]]) -> None:
        self.file_name, self.table, self.headers = file_name, table, headers
        self._values = [ColumnValues(row[i] for row in sample if i < len(row)) for i in range(len(headers))]
        self._matches = [look_up(table, header) for header in headers]
        self.taken: dict[str, int] = {}
        self.aside: set[int] = set()
        self.units: dict[str, str] = {}
        self.clock: dict[str, int] = {}
        self.day_from: dict[str, str] = {}
        self.dates: dict[str, str] = {}

    def take_mapped(self, mapped: FileMapping) -> tuple[str, ...]:
        """Take what the mapping says; return the headers it names that aren't there."""
        not_found = []
        for said in mapped.columns:
            position = self._position(said)
            if position is None:
                if said.means and "*" not in mapped.name:
                    near = difflib.get_close_matches(said.header, self.headers, n=1)
                    hint = f"did you mean {near[0]!r}?" if near else f"its headers: {_shown(self.headers)}"
                    msg = f"{self.file_name} has no column {said.header!r}, which the mapping names; {hint}"
                    raise SourceError(msg)
                not_found.append(said.header)
            elif not said.means:
                self.aside.add(position)
            elif said.part == "time":
                self.clock[said.means] = position
            else:
                self.taken[said.means] = position
                self.units |= {said.means: said.unit} if said.unit else {}
                self.dates |= {said.means: said.dates} if said.dates else {}
        return tuple(not_found)

    def _position(self, said: MappedColumn) -> int | None:
        same = [i for i, header in enumerate(self.headers) if header.strip() == said.header.strip()]
        same = same or [i for i, header in enumerate(self.headers) if plain(header) == plain(said.header) != ""]
        if said.position is not None and said.position - 1 in same:
            return said.position - 1
        if len(same) > 1:
            msg = (
                f"{self.file_name} has {len(same)} columns headed {said.header!r}; "
                f"say which with position = {' or '.join(str(i + 1) for i in same)}"
            )
            raise SourceError(msg)
        return same[0] if same else None

    def take_own_names(self) -> None:
        """Take the headers that are a column's own name; they win over synonyms elsewhere in the file."""
        first: dict[str, int] = {}
        for i, match in self._open(lambda match: match.rank == 0):
            name = match.column.name
            if name in first:
                msg = (
                    f"{self.file_name}: the columns {self.headers[first[name]]!r} and {self.headers[i]!r} "
                    f"both mean {name}; rename one"
                )
                raise SourceError(msg)
            if name not in self.taken:
                first[name] = i
                self._take(i, match)

    def take_synonyms(self) -> None:
        """Take the headers listed as words for a column; one that could mean something else yields to the others."""
        for yielding in (False, True):
            for i, match in self._open(lambda match: match.rank == 1):
                can_yield = any(other.rank == 2 for other in self._matches[i])
                if can_yield == yielding and match.column.name not in self.taken and self._believable(i, match):
                    self._take(i, match)
        for i, match in self._open(lambda match: match.rank == 2):
            free = match.column.name not in self.taken and i not in self.taken.values()
            if free and self._believable(i, match):
                self._take(i, match)

    def take_clocks(self) -> None:
        """Take the columns that hold a time of day: beside a date of the same meaning, else on the call's date."""
        for i, match in self._open(lambda match: match.column.kind == "datetime"):
            name = match.column.name
            if i in self.taken.values() or i in self.clock.values() or name in self.clock or not self._is_clock(i):
                continue
            if name not in self.taken and not len(self._values[i]):
                self._take(i, match)
            elif name not in self.taken or self._values[self.taken[name]].timed < 0.5:
                self.clock[name] = i
        self._settle_days()

    def _settle_days(self) -> None:
        """Give times of day without a date of their own that of the call."""
        for name in list(self.clock):
            if name in self.taken:
                continue
            day = next((other for other in DAY_GIVERS if other in self.taken and other not in self.day_from), None)
            if day is None:
                self.taken[name] = self.clock.pop(name)
            else:
                self.taken[name], self.day_from[name] = self.taken[day], day

    def _is_clock(self, i: int) -> bool:
        values = self._values[i]
        if len(values):
            return values.clock >= 0.6
        return is_time_of_day(self.headers[i])

    def _open(self, wanted: Callable[[Match], bool]) -> Iterable[tuple[int, Match]]:
        for i, matches in enumerate(self._matches):
            for match in matches:
                # asked anew for each: whoever asks may have taken the header for the meaning before
                free = i not in self.aside and i not in self.taken.values() and i not in self.clock.values()
                if free and wanted(match):
                    yield i, match

    def _take(self, i: int, match: Match) -> None:
        self.taken[match.column.name] = i
        if match.unit:
            self.units[match.column.name] = match.unit

    def _believable(self, i: int, match: Match) -> bool:
        """Return whether a synonym's values don't speak against it; times of day wait for `take_clocks`."""
        values = self._values[i]
        if match.column.kind == "datetime" and self._is_clock(i):
            return False
        if match.column.kind not in CHECKED or len(values) < ENOUGH:
            return True
        return fit(self.table, match.column, values, match.unit)[0] > -0.85


def _require_needed(file_name: str, table: str, headers: Sequence[str], taken: Sequence[str]) -> None:
    missing = [column.name for column in TABLES[table].columns if column.needed and column.name not in taken]
    if missing:
        msg = (
            f"{file_name}: the needed column {missing[0]} of {table} is missing "
            f"(its headers: {_shown(headers)}); {DRAFTING}"
        )
        raise SourceError(msg)


def _shown(headers: Sequence[str]) -> str:
    return ", ".join(headers[:12]) + (" …" if len(headers) > 12 else "")
