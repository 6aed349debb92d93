"""How well does one column of a file fit each column of a table? By header, by values, by tags of other files."""

from __future__ import annotations

import re
from collections.abc import Mapping, Set
from dataclasses import dataclass

from fleet.ingest.guess_fit import fit
from fleet.ingest.guess_likeness import likeness
from fleet.ingest.guess_names import header_words, look_up, said_units, set_aside
from fleet.ingest.guess_values import ColumnValues
from fleet.ingest.mapping import columns_of
from fleet.ingest.measures import UNITS
from fleet.ingest.names import plain_name
from fleet.store.schema import Column

ACCEPT = 0.5
"""Below this a column is left aside."""

NAMED = (1.0, 0.9, 0.72)
"""What a header is worth by rank: its own name, words listed for it, words that may mean something else."""

LIKE, LEAST_LIKE = 0.7, 0.45
"""What full likeness of words is worth, and the likeness below which it is worth nothing."""

BY_VALUES: Mapping[str, float] = {
    "finding": 0.62, "part_component": 0.6, "component": 0.6, "call_type": 0.6, "outcome": 0.58, "why": 0.56,
    "part_why": 0.55, "compressor_type": 0.62, "stage": 0.58, "refrigerant": 0.68, "notes": 0.76, "reported_at": 0.56,
    "date": 0.56,
}  # fmt: skip
"""Columns that values alone may give away, and what a perfect fit is then worth."""

FAMILY: Mapping[str, str] = {
    "equipment_id": "unit", "visit_id": "visit", "part_no": "part", "building": "building", "location": "building",
    "property": "property",
}  # fmt: skip
"""Columns that hold the same tags in several files."""

_BARE = frozenset({"", "id", "no", "nr", "row", "rowno", "line", "lineno", "item", "num", "number"})
"""Headers that may do no more than count rows."""

_ANY_MONEY = frozenset({"amount", "bill", "charge", "cost", "expense", "fee", "price", "total"})
"""Words that say money, and no more."""

CLOCK = "time"
"""The part of a date and time that stands in a column of its own."""

Target = tuple[str, str]
"""A column of the contract, and the part of it: blank or `CLOCK`."""


@dataclass(frozen=True, slots=True)
class Score:
    """How well a column fits: ``total`` decides; ``named`` and ``value`` say whence; ``unit`` is the unit it is in."""

    total: float
    named: float
    value: float
    unit: str | None = None
    shared: float = 0.0
    own_name: bool = False


class SeenColumn:
    """One column of a file with its header, the title above it, and its values."""

    def __init__(self, position: int, header: str, above: str, cells: list[str]) -> None:
        self.position, self.header = position, header
        self.said = f"{above} {header}".strip()
        self.values = ColumnValues(cells)
        self._fits: dict[tuple[str, Column, str | None], tuple[float, str | None]] = {}
        self.tags = frozenset(plain_name(cell) for cell in set(cells)) - {""}

    def score(self, table: str, known: Mapping[str, Set[str]]) -> dict[Target, Score]:
        """Return the score of every column of ``table`` this may be; ``known`` has other files' tags by family."""
        if self._counts_rows(table) and not self._shared(known.get("visit", frozenset())):
            return {}
        if (set_aside(self.said) or set_aside(self.header)) and not any(r.rank < 2 for r in look_up(table, self.said)):
            return {}
        if _names_two(table, self.header):
            return {}
        matches = {m.column.name: m for m in (*look_up(table, self.header), *look_up(table, self.said))}
        vague = table == "visits" and _ANY_MONEY.issuperset(header_words(self.said))
        like = {} if vague else likeness(table, self.said)
        scores: dict[Target, Score] = {}
        known_columns = columns_of(table)
        for name, column in known_columns.items():
            match = matches.get(name)
            close = like.get(name, 0.0) * (not _could_be_another(name, like, known_columns))
            named = NAMED[match.rank] if match else LIKE * close if close >= LEAST_LIKE else 0.0
            if column.kind == "datetime" and self.values.clock >= 0.6:
                if named or name == "reported_at":
                    scores[name, CLOCK] = Score((named or 0.25) + 0.3, named, 1.0)
                continue
            value, unit = self._fit(table, column, match.unit if match else None)
            shared = self._shared(known.get(FAMILY.get(name, ""), frozenset()))
            total = self._total(name, named, value, shared)
            if total > 0:
                own = match is not None and match.rank == 0
                scores[name, ""] = Score(total, named, value, unit, shared, own)
        return scores

    def _fit(self, table: str, column: Column, unit: str | None) -> tuple[float, str | None]:
        """Return how well the values fit; a unit the header names holds even where its other words are only like."""
        if unit is None and column.name in UNITS:
            unit = next((code for code, _ in said_units(self.said) if code in UNITS[column.name][1:]), None)
        key = (table if table in ("visits", "equipment") else "", column, unit)
        if key not in self._fits:
            self._fits[key] = fit(table, column, self.values, unit)
        return self._fits[key]

    def _total(self, name: str, named: float, value: float, shared: float) -> float:
        if not len(self.values):
            return named if named >= 0.7 else 0.0
        if named == 0.0:
            total = BY_VALUES.get(name, 0.0) * max(value, 0.0) + (0.1 if shared else 0.0)
        else:
            weight = 0.45 if name in BY_VALUES else 0.3
            total = named + weight * value - (0.7 if value <= -0.6 else 0.0) + (0.02 if "_found_" in name else 0.0)
        return total + 0.45 * shared * (value > -0.6)

    def _shared(self, others: Set[str]) -> float:
        """Return how far this column's tags are those of other files, 0 to 1; short numbers tell little."""
        if len(self.tags) < 4 or not others:
            return 0.0
        common = self.tags & others
        share = len(common) / len(self.tags)
        if share < 0.3:
            return 0.0
        telling = sum(len(tag) >= 4 or (any(c.isdigit() for c in tag) and not tag.isdigit()) for tag in common)
        return min(1.0, share / 0.6) * (1.0 if telling >= len(common) / 2 else 0.25)

    def _counts_rows(self, table: str) -> bool:
        """Return whether a column only numbers the rows 1, 2, 3: no visit is known by that in another file."""
        first = self.values.cells[:50]
        bare = re.sub(r"[^a-z]", "", self.header.lower()) in _BARE
        return table == "visits" and bare and len(first) >= 3 and list(first) == [str(i + 1) for i in range(len(first))]


def _could_be_another(name: str, like: Mapping[str, float], columns: Mapping[str, Column]) -> bool:
    """Return whether a header is like another sort of money too: "Cost" could be any of them."""
    money = [other for other, share in like.items() if columns[other].kind == "money" and share >= LEAST_LIKE]
    return columns[name].kind == "money" and len(money) > 1


def _names_two(table: str, header: str) -> bool:
    """Return whether a header names two tags at once, as "Bldg/Apt" does: its values are neither."""
    parts = [part for part in re.split(r"[/&+]", header) if part.strip()]
    if len(parts) != 2:
        return False
    named = {match.column.name for part in parts for match in look_up(table, part)[:1] if match.column.kind == "tag"}
    return len(named) == 2
