"""Which table is a file, and which of the contract's columns are its own? One file, looked at alone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment

from fleet.ingest.guess_names import header_words, look_up, set_aside
from fleet.ingest.guess_score import ACCEPT, Score, SeenColumn, Target
from fleet.ingest.mapping import columns_of
from fleet.ingest.sources import table_by_name
from fleet.store.schema import TABLES

SURE, LIKELY, GUESS, NO_IDEA = "sure", "likely", "a guess", "no idea"

FILE_WORDS: Mapping[str, str] = {
    "visits": "call ticket service log work order job visit maintenance repair dispatch request",
    "equipment": "unit equipment asset condenser fleet ac hvac system roster",
    "readings": "reading capacitor meter uf test measure",
    "parts_used": "part used usage fitted issued",
    "catalogue": "catalog catalogue price list supplier",
    "stock": "stock shelf on hand count cage",
    "weather": "weather temperature degree climate",
    "coverage": "coverage", "properties": "property community site", "buildings": "building map",
    "occupancy": "occupancy vacancy vacant move",
}  # fmt: skip

TITLES = 8
"""Records at a file's beginning among which the headers are looked for."""

STANDS_FOR: Mapping[tuple[str, str], tuple[str, str]] = {
    ("equipment", "building"): ("unknown", "the file names no building: 'unknown' stands until you name it"),
    ("buildings", "building"): ("unknown", "the file names no building"),
    ("stock", "location"): ("shop", "the file names no shelf: everything is taken to lie in the shop"),
}  # fmt: skip
"""Needed columns a file may do without, with the value taken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenTable:
    """One table of a log as it was seen: its first records as text.

    ``header_record`` is the record ``headers`` stand in (the file's first is 1); ``rows`` are the records after it,
    a few hundred of them, none left out; ``n_records`` counts all records after the headers.
    """

    name: str
    headers: Sequence[str]
    rows: Sequence[Sequence[str]] = ()
    n_records: int = 0
    header_record: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class GuessedColumn:
    """What one column is taken for; ``means`` is blank where it is left aside. ``position`` counts from 0."""

    position: int
    header: str
    means: str
    sureness: str
    why: str
    part: str = ""
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GuessedFile:
    """What one file is taken for; ``table`` is blank where no table fits.

    ``headers`` and ``rows`` are those of the record found to hold the headers, ``header_record``; ``whole`` says that
    no record went unseen. ``always`` has (column, value, why); ``missing`` the needed columns nothing stands for.
    """

    name: str
    table: str
    why: str
    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    header_record: int
    columns: tuple[GuessedColumn, ...]
    whole: bool
    always: tuple[tuple[str, str, str], ...] = ()
    missing: tuple[str, ...] = field(default=())

    def cells(self, position: int) -> list[str]:
        """Return the sample's cells of one column."""
        return [row[position] for row in self.rows if position < len(row)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One table for a file, with the columns given to its own; ``total`` says how well that explains the file."""

    table: str
    given: Mapping[int, Target]
    scores: Sequence[Mapping[Target, Score]]
    total: float
    missing: tuple[str, ...]
    stood_in: Mapping[int, str]


class OneFile:
    """One file on its way to a guess: its headers found, its columns looked at."""

    def __init__(self, seen: SeenTable) -> None:
        self.name, self.whole = seen.name, seen.n_records <= len(seen.rows)
        found = find_headers(seen)
        self.header_record, self.headers, self.rows, above = found
        self.columns = [
            SeenColumn(i, header, above[i], [row[i] for row in self.rows if i < len(row)])
            for i, header in enumerate(self.headers)
        ]

    def choose(self, known: Mapping[str, Set[str]]) -> Choice:
        """Return the table that explains the file best; ``known`` has the tags of the log's other files."""
        choices = [self._choice(table, known) for table in TABLES]
        return max(choices, key=lambda choice: choice.total + self._said_by_name(choice.table))

    def _said_by_name(self, table: str) -> float:
        base = self.name.rsplit(":", 1)[-1]
        if table_by_name(base) == table:
            return 3.0
        words = set(header_words(base.rsplit(".", 1)[0]))
        hits = len(words & set(header_words(FILE_WORDS[table])))
        return 0.6 * hits / math.sqrt(max(len(words), 1))

    def _choice(self, table: str, known: Mapping[str, Set[str]]) -> Choice:
        scores = [column.score(table, known) for column in self.columns]
        given = _assign(scores)
        stood_in = self._stand_in(table, given)
        own = {column.name for column in TABLES[table].columns}
        total = sum(
            scores[i].get(target, Score(ACCEPT, 0, 0)).total * (1.0 if target[0] in own else 0.8)
            for i, target in given.items()
        )
        meant = {name for name, _ in given.values()}
        missing = tuple(c.name for c in TABLES[table].columns if c.needed and c.name not in meant)
        penalty = sum(0.6 if (table, name) in STANDS_FOR else 3.0 for name in missing)
        return Choice(
            table=table, given=given, scores=scores, total=total - penalty, missing=missing, stood_in=stood_in
        )

    def _stand_in(self, table: str, given: dict[int, Target]) -> dict[int, str]:
        """Let the nearest column stand for one that visits can't do without; return why, by position."""
        if table != "visits":
            return {}
        why = {}
        places = {target: i for i, target in given.items()}
        for wanted, others, said in _STAND_INS:
            if (wanted, "") in places:
                continue
            i = next((places[other, ""] for other in others if (other, "") in places), None)
            if i is not None and (wanted != "equipment_id" or self._one_place_each(i, places.get(("building", "")))):
                given[i] = (wanted, "")
                why[i] = said
        return why

    def _one_place_each(self, apartment: int, building: int | None) -> bool:
        if building is None:
            return True
        pairs = {(r[apartment], r[building]) for r in self.rows if len(r) > max(apartment, building) and r[apartment]}
        return len(pairs) == len({one for one, _ in pairs})

    def guessed(self, choice: Choice, *, told_in: str) -> GuessedFile:
        """Return the guess for the file; ``told_in`` names a file that tells its visits more fully."""
        missing = tuple(name for name in choice.missing if (choice.table, name) not in STANDS_FOR)
        fits = choice.total >= 1.2 and not missing and not told_in
        table = choice.table if fits or (choice.table == "visits" and choice.total > 0 and not told_in) else ""
        always = tuple(
            (name, *STANDS_FOR[choice.table, name]) for name in choice.missing if (choice.table, name) in STANDS_FOR
        )
        return GuessedFile(
            name=self.name, table=table, why=_why_table(choice, missing, told_in), headers=self.headers,
            rows=self.rows, header_record=self.header_record,
            columns=tuple(self._column(column, choice) for column in self.columns),
            whole=self.whole, always=always if table else (), missing=missing,
        )  # fmt: skip

    def _column(self, column: SeenColumn, choice: Choice) -> GuessedColumn:
        i = column.position
        if i not in choice.given:
            why = "the log has no place for it" if set_aside(column.said) else "like no column that is still free"
            return GuessedColumn(position=i, header=column.header, means="", sureness=NO_IDEA, why=why)
        name, part = choice.given[i]
        if i in choice.stood_in:
            return GuessedColumn(
                position=i, header=column.header, means=name, sureness=GUESS, why=choice.stood_in[i], part=part
            )
        score = choice.scores[i][name, part]
        return GuessedColumn(
            position=i, header=column.header, means=name, part=part, unit=score.unit or "",
            sureness=_sureness(i, choice), why=_why(score),
        )  # fmt: skip


_STAND_INS = (
    ("reported_at", ("arrived_at", "finished_at", "recorded_at"), "the file has no other date for the call"),
    ("equipment_id", ("apartment",), "the file has no tags: the apartment stands for its unit"),
)


def find_headers(
    seen: SeenTable,
) -> tuple[int, tuple[str, ...], tuple[tuple[str, ...], ...], tuple[str, ...]]:
    """Find the record that holds the headers, below titles if need be.

    Returns
    -------
    (int, headers, records after them, titles above)
        The record's number; a title over several columns is repeated over each.
    """
    records = [tuple(seen.headers), *(tuple(row) for row in seen.rows)]
    at = _header_row(records[:TITLES])
    headers = records[at]
    above = [""] * len(headers)
    if at and sum(bool(cell.strip()) for cell in records[at - 1]) >= 2:
        title = ""
        for i, cell in enumerate(records[at - 1][: len(headers)]):
            title = cell.strip() or title
            above[i] = title
    return seen.header_record + at, headers, tuple(records[at + 1 :]), tuple(above)


def _header_row(records: Sequence[Sequence[str]]) -> int:
    """Return which record holds the headers: the first, unless it is as empty as a title and a later one is known."""
    known = [_known_headers(record) for record in records]
    filled = [sum(bool(cell.strip()) for cell in record) for record in records]
    best = max(range(len(records)), key=lambda i: (known[i], -i))
    is_title = filled[0] <= 0.6 * max(len(record) for record in records)
    return best if is_title and known[best] >= max(3, 2 * known[0], filled[best] / 2) else 0


def _known_headers(record: Sequence[str]) -> int:
    """Return how many cells of a record some table's columns are headed by; no header is a number or a date."""
    cells = {cell for cell in record if cell.strip() and not any(letter.isdigit() for letter in cell)}
    return sum(any(look_up(table, cell) for table in TABLES) or set_aside(cell) for cell in cells)


def _assign(scores: Sequence[Mapping[Target, Score]]) -> dict[int, Target]:
    targets = sorted({target for one in scores for target in one})
    if not targets:
        return {}
    place = {target: j for j, target in enumerate(targets)}
    gains = np.zeros((len(scores), len(targets)))
    for i, one in enumerate(scores):
        for target, score in one.items():
            # cubed, so that a sure column is not given away to find a place for a doubtful one
            gains[i, place[target]] = score.total**3 if score.total >= ACCEPT else 0.0
    rows, columns = linear_sum_assignment(gains, maximize=True)
    return {int(i): targets[j] for i, j in zip(rows, columns, strict=True) if gains[i, j] > 0}


def _sureness(i: int, choice: Choice) -> str:
    target = choice.given[i]
    score = choice.scores[i][target]
    others = [one.total for other, one in choice.scores[i].items() if other != target]
    rivals = [one[target].total for j, one in enumerate(choice.scores) if j != i and target in one]
    margin = score.total - max([*others, 0.0])
    ahead = score.total - max([*rivals, 0.0])
    kind = columns_of(choice.table)[target[0]].kind
    enough = 0.0 if score.own_name else 0.05 if kind == "tag" else 0.3
    if score.named >= 0.9 and score.value >= enough and (score.own_name or min(margin, ahead) >= 0.1):
        return SURE
    if score.total >= 0.75 and min(margin, ahead) >= 0.05 and score.value > -0.3:
        return LIKELY
    return GUESS


def _why(score: Score) -> str:
    named = (
        "its header is the column's own name" if score.own_name
        else "its header is a word for it" if score.named >= 0.9
        else "its header may be a word for it" if score.named >= 0.72
        else "its header is like words for it" if score.named > 0
        else ""
    )  # fmt: skip
    values = (
        "its values look like it" if score.value >= 0.3 else "its values look odd for it" if score.value < -0.15 else ""
    )
    shared = "other files have the same tags" if score.shared >= 0.3 else ""
    unit = f"converted from {score.unit}" if score.unit else ""
    return "; ".join(said for said in (named, values, shared, unit) if said)


def _why_table(choice: Choice, missing: Sequence[str], told_in: str) -> str:
    if told_in:
        return f"its visits are told more fully in {told_in}, and would replace them: left aside"
    if missing:
        return f"it is most like {choice.table}, but no column of it is {' or '.join(missing)}"
    if choice.total < 1.2:
        return "it is like no table of a log"
    return f"{len(choice.given)} of its columns fit"
