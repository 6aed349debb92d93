"""The rows a glance didn't settle: read again with care, then refused by name or kept.

Their cells wait in landing's column ``raw``. Only columns that need it are read with care, and rows of files with
the same headers are read together, so a few odd cells cost little.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fleet.ingest.cells import DATED, TOGETHER, CellSql
from fleet.ingest.dates import DateOrder, Shapes, decide_order, shapes_sql
from fleet.ingest.headers import HeaderPlan
from fleet.ingest.landing import Landing, landing_of
from fleet.store.database import Database, literal

HARD = "memory.main.hard_row"


@dataclass(frozen=True, slots=True, kw_only=True)
class Landed:
    """One source table that has landed: how its file was understood and the date orders settled so far."""

    source_id: int
    name: str
    plan: HeaderPlan
    orders: Mapping[str, DateOrder]
    forced: str | None


def settle_hard_rows(database: Database, landed: Sequence[Landed]) -> list[tuple[int, DateOrder]]:
    """Read every hard row again; return (source, date order) of the date columns settled on the way.

    Raises
    ------
    SourceError
        If a column holds dates whose order no value settles, or values that speak for both.
    """
    alike: dict[tuple[object, ...], list[Landed]] = {}
    for source in landed:
        alike.setdefault((source.plan.table, source.plan.headers, _order_key(source.orders)), []).append(source)
    settled = []
    for group in alike.values():
        if _fetch(database, landing_of(group[0].plan, group[0].orders), group):
            settled += _settle_group(database, group)
    return settled


def _order_key(orders: Mapping[str, DateOrder]) -> tuple[tuple[str, str], ...]:
    return tuple(sorted((name, order.order) for name, order in orders.items()))


def _fetch(database: Database, landing: Landing, group: Sequence[Landed]) -> int:
    """Put the cells of a group's hard rows into a table of their own; return how many there are."""
    sources = ", ".join(str(source.source_id) for source in group)
    cells = ", ".join(f"j[{i + 1}] as c{i}" for i in range(len(landing.headers)))
    return int(
        database.value(
            f"create or replace table {HARD} as select place, source_id, {cells} from ("
            f"select rowid as place, source_id, from_json(raw, '[\"varchar\"]') as j "
            f"from log.landing.{landing.table.clean_name} where raw is not null and source_id in ({sources}))"
        )
        or 0
    )


def _settle_group(database: Database, group: Sequence[Landed]) -> list[tuple[int, DateOrder]]:
    plan, orders = group[0].plan, group[0].orders
    landing = landing_of(plan, orders)
    unsettled = _unsettled(database, landing)
    found = _settle_dates(database, landing, group, [c for c in unsettled if c.column.kind in DATED])
    careful = {c.name for c in unsettled}
    careful |= {name for name, other in TOGETHER.items() if other in careful}
    by_orders: dict[tuple[tuple[str, str], ...], list[Landed]] = {}
    for source in group:
        own = {**orders, **found.get(source.source_id, {})}
        by_orders.setdefault(_order_key(own), []).append(source)
    for sources in by_orders.values():
        own = {**orders, **found.get(sources[0].source_id, {})}
        _read_with_care(database, landing_of(plan, own), careful, [source.source_id for source in sources])
    return [(source_id, order) for source_id, made in found.items() for order in made.values()]


def _unsettled(database: Database, landing: Landing) -> list[CellSql]:
    """Return the columns in which some hard row's cell needs more than a glance."""
    columns = [column for column in landing.filled if column.hard and column.cell]
    inner = ", ".join(f"{column.glance} as {column.name}" for column in columns)
    asked = ", ".join(f"bool_or({column.hard})" for column in columns)
    row = database.rows(f"select {asked} from (select {inner}, * from {HARD})")[0]
    return [column for column, hard in zip(columns, row, strict=True) if hard]


def _settle_dates(
    database: Database, landing: Landing, group: Sequence[Landed], columns: Sequence[CellSql]
) -> dict[int, dict[str, DateOrder]]:
    """Settle the order of day and month, file by file, in columns a glance read as ISO."""
    if not columns:
        return {}
    asked = ", ".join(shapes_sql(str(column.cell)) for column in columns)
    rows = database.rows(f"select source_id, {asked} from {HARD} group by source_id")
    source_of = {source.source_id: source for source in group}
    found: dict[int, dict[str, DateOrder]] = {}
    for source_id, *counts in rows:
        source = source_of[source_id]
        for i, column in enumerate(columns):
            shapes = Shapes(*(int(n) for n in counts[4 * i : 4 * i + 4]))
            if column.name not in source.orders and shapes.slashed:
                order = decide_order(source.name, column.name, source.forced, shapes)
                found.setdefault(source_id, {})[column.name] = order
    return found


def _read_with_care(database: Database, landing: Landing, careful: set[str], sources: Sequence[int]) -> None:
    table, filled = landing.table.clean_name, landing.filled
    clocked = landing.clocked("has_time")
    inner = [f"{c.care if c.name in careful else c.glance} as {c.name}" for c in filled]
    inner += [f"{sql} as {name}" for name, sql in clocked]
    standing, reason = _judge(landing)
    chosen = ", ".join(str(source) for source in sources)
    database.run(
        f"create or replace table memory.main.read_row as "
        f"select *, {standing} as standing, {reason} as reason "
        f"from (select place, {', '.join(inner)}, {', '.join(landing.all_cells)} "
        f"from {HARD} where source_id in ({chosen}))"
    )
    pairs = ", ".join(f"{literal(header or f'column {i + 1}')}, r.c{i}" for i, header in enumerate(landing.headers))
    assigned = [f"{c.name} = r.{landing.outer(c)}" for c in filled] + [f"{name} = r.{name}" for name, _ in clocked]
    database.run(
        f"update log.landing.{table} as l set {', '.join(assigned)}, standing = r.standing, reason = r.reason, "
        f"raw = case when r.standing is not null then json_object({pairs})::varchar end "
        "from memory.main.read_row as r where l.rowid = r.place"
    )


def _judge(landing: Landing) -> tuple[str, str]:
    """Return the SQL of standing and reason: which columns are refused, and whether the row is no record at all."""
    refused = {name: condition for column in landing.filled for name, condition in column.refused.items()}
    bad = "(" + " or ".join(f"({condition})" for condition in refused.values()) + ")" if refused else "false"
    named = ", ".join(f"case when {condition} then {literal(name)} end" for name, condition in refused.items())
    cells = ", ".join(f"blank_to_null({cell})" for cell in landing.all_cells)
    repeated = " and ".join(
        f"lower(trim(coalesce({cell}, ''))) = {literal(landing.headers[int(cell[1:])].strip().lower())}"
        for cell in landing.cells.values()
    )
    blank = (
        f"case when coalesce({cells}, '') = '' then 'empty row' when {repeated} then 'repeated header' "
        f"when regexp_matches(coalesce({cells}, ''), '^(grand\\s+|sub\\s*)?totals?\\b', 'i') then 'totals row' end"
    )
    return (
        f"case when {bad} then case when {blank} is not null then 'blank' else 'quarantined' end end",
        f"case when {bad} then coalesce({blank}, concat_ws('; ', {named or 'null'})) end",
    )
