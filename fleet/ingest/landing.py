"""From a raw table to landing: one statement reads every record at a glance and keeps the cells of the hard ones.

A landing table holds a row for every record that could be split into fields. ``standing`` is null where the
row is clean so far, else quarantined, duplicate or blank with ``reason``; ``notice`` tells what was changed or
is odd about a row that is kept; ``raw`` keeps the cells of a row refused for them (the text of every other record
is in the kept source, see originals.py).
``counted_in`` is null but for a corrected record, which lands as one of the source it corrects and is counted in the
one it came in. ``<column>_word`` keeps the word itself where a word of the contract's short lists wasn't written.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fleet.ingest.cells import WORDY, CellSql, cells_of, read_cells
from fleet.ingest.conventions import Conventions
from fleet.ingest.headers import HeaderPlan
from fleet.store.schema import SHEET_COLUMNS, TABLES, VISITS, Table

DERIVED: Mapping[str, list[str]] = {"readings": ["value_uf double", "rated_uf double", "sense varchar"]}
"""Columns the checks fill in later."""

CLOCKED = ("reported_at", "arrived_at")
"""Columns of which it matters whether a time of day was written."""

SHEET = Table(
    name="sheet",
    clean_name="sheet",
    grain="one row a visit and part of a single visits sheet",
    key=("visit_id",),
    columns=VISITS.columns + SHEET_COLUMNS,
)
"""Where the records of a single visits sheet land before they are taken apart (sheet.py)."""


def create_landing(table: Table) -> str:
    """Return the statement that makes the empty landing table of a log table."""
    columns = [f"{c.name} {c.sql_type}" for c in table.columns]
    columns += [f"{c.name}_word varchar" for c in table.columns if c.kind in WORDY]
    columns += [f"{c.name}_has_time boolean" for c in table.columns if c.name in CLOCKED]
    columns += DERIVED.get(table.name, [])
    columns += [
        "source_id integer",
        "counted_in integer",
        "record bigint",
        "standing varchar",
        "reason varchar",
        "notice varchar",
        "raw varchar",
    ]
    return f"create table log.landing.{table.clean_name} ({', '.join(columns)})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Landing:
    """How one file's records become rows of one landing table."""

    table: Table
    headers: tuple[str, ...]
    cells: Mapping[str, str]
    columns: tuple[CellSql, ...]

    @property
    def all_cells(self) -> list[str]:
        """Return the file's cells in order: c0 .. cn."""
        return [f"c{i}" for i in range(len(self.headers))]

    def clocked(self, macro: str) -> list[tuple[str, str]]:
        """Return name and SQL of the columns that say whether a time of day was written."""
        return [(f"{name}_has_time", f"{macro}({self.cells[name]})") for name in CLOCKED if name in self.cells]

    def outer(self, column: CellSql) -> str:
        """Return a column as it goes into its landing table."""
        return f"{column.name}::date" if column.column.kind == "date" else column.name

    @property
    def filled(self) -> list[CellSql]:
        """Return the columns this file says anything of; the others stay null."""
        return [c for c in self.columns if not c.glance.startswith("null::") or c.care != c.glance]


def landing_table(plan: HeaderPlan) -> Table:
    """Return the table in which the records of a file understood by ``plan`` land."""
    return SHEET if plan.sheet else TABLES[plan.table]


def landing_of(plan: HeaderPlan, conventions: Conventions) -> Landing:
    """Return how the records of a file understood by ``plan`` land."""
    table = landing_table(plan)
    return Landing(
        table=table, headers=plan.headers, cells=cells_of(plan), columns=read_cells(table, plan, conventions)
    )


def land(
    landing: Landing, source_id: int, *, counted_in: int | None = None, careful: frozenset[str] = frozenset()
) -> Callable[[str], str]:
    """Return what turns a raw relation into the statement that lands it (RawTable.run takes it).

    Columns named in ``careful`` are read with care at once; a sample showed that a glance won't do.
    """
    counted = "null" if counted_in is None else str(counted_in)
    filled = landing.filled
    clocked = landing.clocked("says_time" if careful else "glance_has_time")
    names = [column.name for column in filled] + [name for name, _ in clocked]
    conditions = (column.unread if column.name in careful else column.hard for column in filled)
    hard = " or ".join(condition for condition in conditions if condition) or "false"
    notes = ", ".join(column.note for column in filled if column.note and column.name in careful)
    notice = f"nullif(concat_ws(' | ', {notes}), '')" if notes else "null"
    cells = ", ".join(landing.all_cells)

    def statement(relation: str) -> str:
        inner = [f"{c.care if c.name in careful else c.glance} as {c.name}" for c in filled]
        inner += [f"{sql} as {name}" for name, sql in clocked]
        outer = [landing.outer(column) for column in filled] + [name for name, _ in clocked]
        return (
            f"insert into log.landing.{landing.table.clean_name} "
            f"({', '.join(names)}, source_id, counted_in, record, notice, raw) "
            f"select {', '.join(outer)}, {source_id}, {counted}, record, {notice}, "
            f"case when {hard} then json_array({cells})::varchar end "
            f"from (select {', '.join(inner)}, {cells}, record from {relation})"
        )

    return statement
