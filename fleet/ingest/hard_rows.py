"""The rows a glance didn't settle: read again with care, then refused by name or kept.

Their cells wait in landing's column ``raw``. Only columns that need it are read with care, and rows of files with
the same headers are read together, so a few odd cells cost little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fleet.ingest.care import make_macros
from fleet.ingest.cells import DATED, TOGETHER, CellSql
from fleet.ingest.conventions import Conventions
from fleet.ingest.dates import DateOrder, Shapes, decide_order, shapes_sql
from fleet.ingest.landed import Landed
from fleet.ingest.landing import Landing, landing_of
from fleet.store.database import Database, literal

HARD = "memory.main.hard_row"


def settle_hard_rows(database: Database, landed: Sequence[Landed]) -> list[tuple[int, DateOrder]]:
    """Read every hard row again; return (source, date order) of the date columns settled on the way.

    Raises
    ------
    SourceError
        If a column holds dates whose order no value settles, or values that speak for both.
    """
    settled = []
    for group in alike(landed):
        if fetch_hard(database, landing_of(group[0].plan, group[0].conventions), group):
            settled += _settle_group(database, group)
    return settled


def alike(landed: Sequence[Landed]) -> list[list[Landed]]:
    """Return the sources in groups whose cells are read the same way."""
    groups: dict[tuple[object, ...], list[Landed]] = {}
    for source in landed:
        groups.setdefault((repr(source.plan), source.forced, source.conventions.key()), []).append(source)
    return list(groups.values())


def fetch_hard(database: Database, landing: Landing, group: Sequence[Landed]) -> int:
    """Put the cells of a group's hard rows into a table of their own; return how many there are."""
    sources = ", ".join(str(source.source_id) for source in group)
    cells = ", ".join(f"j[{i + 1}] as c{i}" for i in range(len(landing.headers)))
    return int(
        database.value(
            f"create or replace table {HARD} as select place, source_id, {cells} from ("
            "select rowid as place, coalesce(counted_in, source_id) as source_id, "
            f"from_json(raw, '[\"varchar\"]') as j from log.landing.{landing.table.clean_name} "
            f"where raw is not null and coalesce(counted_in, source_id) in ({sources}))"
        )
        or 0
    )


def _settle_group(database: Database, group: Sequence[Landed]) -> list[tuple[int, DateOrder]]:
    plan, conventions = group[0].plan, group[0].conventions
    unsettled = _unsettled(database, landing_of(plan, conventions))
    found = _settle_dates(database, group, [c for c in unsettled if c.column.kind in DATED])
    careful = {c.name for c in unsettled}
    careful |= {name for name, others in TOGETHER.items() if careful & set(others)}
    by_conventions: dict[tuple[object, ...], tuple[Conventions, list[int]]] = {}
    for source in group:
        own = replace(conventions, orders={**conventions.orders, **found.get(source.source_id, {})})
        by_conventions.setdefault(own.key(), (own, []))[1].append(source.source_id)
    for own, sources in by_conventions.values():
        _read_with_care(database, landing_of(plan, own), careful, sources)
    return [(source_id, order) for source_id, made in found.items() for order in made.values()]


def _unsettled(database: Database, landing: Landing) -> list[CellSql]:
    """Return the columns in which some hard row's cell needs more than a glance."""
    columns = [column for column in landing.filled if column.hard and column.cell]
    inner = ", ".join(f"{column.glance} as {column.name}" for column in columns)
    asked = ", ".join(f"bool_or({column.hard})" for column in columns)
    row = database.rows(f"select {asked} from (select {inner}, * from {HARD})")[0]
    return [column for column, hard in zip(columns, row, strict=True) if hard]


def _settle_dates(
    database: Database, group: Sequence[Landed], columns: Sequence[CellSql]
) -> dict[int, dict[str, DateOrder]]:
    """Settle the order of day and month, file by file, in columns a glance read as ISO."""
    if not columns:
        return {}
    asked = ", ".join(shapes_sql(str(column.cell)) for column in columns)
    rows = database.rows(f"select source_id, {asked} from {HARD} group by source_id")
    # records that came back corrected are read as the file they were refused in
    origin_of = {source.source_id: source.lands_as for source in group}
    shapes: dict[int, list[Shapes]] = {}
    for source_id, *counts in rows:
        own = [Shapes(*(int(n) for n in counts[4 * i : 4 * i + 4])) for i in range(len(columns))]
        before = shapes.get(origin_of[source_id])
        shapes[origin_of[source_id]] = [a + b for a, b in zip(before, own, strict=True)] if before else own
    found: dict[int, dict[str, DateOrder]] = {}
    for source in group:
        for column, counted in zip(columns, shapes.get(source.lands_as, []), strict=False):
            if column.name not in source.conventions.orders and counted.slashed:
                order = decide_order(source.name, column.name, source.forced, counted)
                found.setdefault(source.source_id, {})[column.name] = order
    return found


def _read_with_care(database: Database, landing: Landing, careful: set[str], sources: Sequence[int]) -> None:
    table, filled = landing.table.clean_name, landing.filled
    clocked = landing.clocked("says_time")
    inner = [f"{c.care if c.name in careful else c.glance} as {c.name}" for c in filled]
    inner += [f"{sql} as {name}" for name, sql in clocked]
    standing, reason = _judge(landing)
    dated, timed_note = _bare_times(landing, careful)
    notes = [timed_note] + [column.note for column in filled if column.note and column.name in careful]
    chosen = ", ".join(str(source) for source in sources)
    read = (
        f"create or replace table memory.main.read_row as select *, {standing} as standing, {reason} as reason, "
        f"nullif(concat_ws(' | ', {', '.join(notes)}), '') as notice "
        f"from (select *{dated} from (select place, {', '.join(inner)}, {', '.join(landing.all_cells)} "
        f"from {HARD} where source_id in ({chosen})))"
    )
    make_macros(database, read)
    database.run(read)
    pairs = ", ".join(f"{literal(header or f'column {i + 1}')}, r.c{i}" for i, header in enumerate(landing.headers))
    assigned = [f"{c.name} = r.{landing.outer(c)}" for c in filled] + [f"{name} = r.{name}" for name, _ in clocked]
    database.run(
        f"update log.landing.{table} as l set {', '.join(assigned)}, standing = r.standing, reason = r.reason, "
        "notice = case when r.standing is null then r.notice end, "
        f"raw = case when r.standing is not null then json_object({pairs})::varchar end "
        "from memory.main.read_row as r where l.rowid = r.place"
    )


BARE_TIMES = ("arrived_at", "finished_at", "recorded_at")
"""Columns in which a time of day alone belongs to the day of the report."""


def _bare_times(landing: Landing, careful: set[str]) -> tuple[str, str]:
    """Return the SQL that dates times of day written without a date, and that of what is said of them."""
    cells = {name: landing.cells[name] for name in BARE_TIMES if name in careful and name in landing.cells}
    if not cells or "reported_at" not in landing.cells:
        return "", "null"
    dated = ", ".join(
        f"coalesce({name}, on_day_of(reported_at, reported_at_has_time, read_clock({cell}))) as {name}"
        for name, cell in cells.items()
    )
    # a time of day is never a date by itself, so what the clock reads was dated here
    said = ", ".join(f"case when clock_only({cell}) then '{name} ' || trim({cell}) end" for name, cell in cells.items())
    note = f"'time_without_date: ' || nullif(concat_ws(', ', {said}), '') || ' on the day of the report'"
    return f" replace ({dated})", note


TOTALS = "|".join(
    (
        r"^(grand\s+|sub[\s-]*)?totals?\b",  # Total June, Subtotal
        r"^([\w./-]+\s+){1,2}(sub)?totals?\s*:?\s*$",  # June 2024 total
        r"^(sum|average|avg\.?|mean)\s*:?\s*$",
    )
)
"""What the first filled cell of a row of sums says; only rows that can't be read as records are asked."""


def _judge(landing: Landing) -> tuple[str, str]:
    """Return the SQL of standing and reason: which columns are refused, and whether the row is no record at all."""
    refused = {name: condition for column in landing.filled for name, condition in column.refused.items()}
    bad = "(" + " or ".join(f"({condition})" for condition in refused.values()) + ")" if refused else "false"
    named = ", ".join(f"case when {condition} then {literal(name)} end" for name, condition in refused.items())
    cells = ", ".join(f"blank_to_null({cell})" for cell in landing.all_cells)
    repeated = " and ".join(
        f"lower(trim(coalesce({cell}, ''))) = {literal(header.strip().lower())}"
        for cell, header in zip(landing.all_cells, landing.headers, strict=True)
        if header.strip()
    )
    blank = (
        f"case when coalesce({cells}, '') = '' then 'empty row' when {repeated} then 'repeated header' "
        f"when regexp_matches(coalesce({cells}, ''), {literal(TOTALS)}, 'i') then 'totals row' end"
    )
    return (
        f"case when {bad} then case when {blank} is not null then 'blank' else 'quarantined' end end",
        f"case when {bad} then coalesce({blank}, concat_ws('; ', {named or 'null'})) end",
    )
