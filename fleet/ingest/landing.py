"""From a raw table to landing: one statement reads, casts and judges every record.

A landing table holds a row for every record that could be split into fields. ``standing`` is null where the
row is clean so far, else quarantined, duplicate or blank with ``reason``; ``notice`` tells what was changed or
is odd about a row that is kept; ``raw`` keeps the original text wherever a reason or notice stands.
``<column>_word`` keeps the word itself where a word of the contract's short lists wasn't written.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fleet.ingest.dates import DateOrder
from fleet.ingest.headers import HeaderPlan
from fleet.store.database import literal
from fleet.store.schema import TABLES, Column, Table
from fleet.trade.components import COMPONENT_BY_NAME

WORDY = ("word", "component")

DERIVED: Mapping[str, list[str]] = {"readings": ["value_uf double", "rated_uf double", "sense varchar"]}
"""Columns the checks fill in later."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnSql:
    """One landing column: its value as SQL over c0 .. cn, and the SQL condition under which it is refused."""

    name: str
    value: str
    refused: Mapping[str, str]


def create_landing(table: Table) -> str:
    """Return the statement that makes the empty landing table of a log table."""
    columns = [f"{c.name} {c.sql_type}" for c in table.columns]
    columns += [f"{c.name}_word varchar" for c in table.columns if c.kind in WORDY]
    columns += [f"{c.name}_has_time boolean" for c in table.columns if c.kind == "datetime"]
    columns += DERIVED.get(table.name, [])
    columns += [
        "source_id integer",
        "record bigint",
        "standing varchar",
        "reason varchar",
        "notice varchar",
        "raw varchar",
    ]
    return f"create table log.landing.{table.clean_name} ({', '.join(columns)})"


def land(plan: HeaderPlan, orders: Mapping[str, DateOrder], source_id: int) -> Callable[[str], str]:
    """Return what turns a raw relation into the statement that lands it (RawTable.run takes it)."""
    table = TABLES[plan.table]
    cells = {column.name: f"c{position}" for position, column in plan.columns}
    made = [_column_sql(table, column, cells, orders) for column in table.columns]
    words = [_word_sql(column, cells) for column in table.columns if column.kind in WORDY]
    times = [
        (f"{c.name}_has_time", f"has_time({cells[c.name]})" if c.name in cells else "null")
        for c in table.columns
        if c.kind == "datetime"
    ]
    all_cells = [f"c{i}" for i in range(len(plan.headers))]

    def statement(relation: str) -> str:
        inner = [f"{m.value} as {m.name}" for m in made]
        inner += [f"{sql} as {name}" for name, sql in words + times]
        inner += [*all_cells, "record"]
        kept = [m.name for m in made] + [name for name, _ in words + times]
        refusals = {reason: condition for m in made for reason, condition in m.refused.items()}
        return (
            f"insert into log.landing.{table.clean_name} "
            f"({', '.join(kept)}, source_id, record, standing, reason, notice, raw) "
            f"select {', '.join(kept)}, {source_id}, record, "
            f"{_standing_sql(refusals, all_cells, plan, cells)}, "
            f"case when {_any(refusals)} then {_raw_sql(plan.headers)} end "
            f"from (select {', '.join(inner)} from {relation})"
        )

    return statement


def _any(refusals: Mapping[str, str]) -> str:
    return "(" + " or ".join(f"({condition})" for condition in refusals.values()) + ")"


def _standing_sql(refusals: Mapping[str, str], cells: list[str], plan: HeaderPlan, mapped: Mapping[str, str]) -> str:
    """Return the SQL of standing, reason and notice: judged only where some column is refused."""
    text = f"concat_ws('', {', '.join(cells)})"
    first = f"coalesce({', '.join(f'blank_to_null({cell})' for cell in cells)}, '')"
    headers = [(cell, plan.headers[int(cell[1:])]) for cell in mapped.values()]
    repeated = " and ".join(
        f"lower(trim(coalesce({cell}, ''))) = {literal(header.strip().lower())}" for cell, header in headers
    )
    totals = f"regexp_matches({first}, '^(grand\\s+|sub\\s*)?totals?\\b', 'i')"
    reasons = ", ".join(f"case when {condition} then {literal(reason)} end" for reason, condition in refusals.items())
    bad = _any(refusals)
    blank = (
        f"case when trim({text}) = '' then 'empty row' when {repeated} then 'repeated header' "
        f"when {totals} then 'totals row' end"
    )
    return (
        f"case when {bad} then case when {blank} is not null then 'blank' else 'quarantined' end end, "
        f"case when {bad} then coalesce({blank}, concat_ws('; ', {reasons})) end, null"
    )


def _raw_sql(headers: tuple[str, ...]) -> str:
    pairs = ", ".join(f"{literal(header or f'column {i + 1}')}, c{i}" for i, header in enumerate(headers))
    return f"json_object({pairs})::varchar"


def _column_sql(table: Table, column: Column, cells: Mapping[str, str], orders: Mapping[str, DateOrder]) -> ColumnSql:
    cell = cells.get(column.name)
    value = SPECIAL.get((table.name, column.name), _plain_value)(column, cell, cells, orders)
    refused: dict[str, str] = {}
    if column.needed:
        refused[f"{column.name}_missing"] = f"blank_to_null({cell}) is null"
    unreadable = UNREADABLE.get(column.kind)
    if cell is not None and unreadable:
        refused[f"{column.name}_{unreadable}"] = f"{column.name} is null and blank_to_null({cell}) is not null"
    if cell is not None and column.positive:
        refused[f"{column.name}_negative"] = f"{column.name} < 0"
    return ColumnSql(name=column.name, value=value, refused=refused)


UNREADABLE = {
    "number": "not_a_number",
    "money": "not_money",
    "count": "not_a_number",
    "date": "not_a_date",
    "datetime": "not_a_date",
    "yesno": "not_yes_or_no",
}
"""How the reason is named when a filled cell can't be read as its kind."""

Special = Callable[[Column, str | None, Mapping[str, str], Mapping[str, DateOrder]], str]


def _plain_value(column: Column, cell: str | None, cells: Mapping[str, str], orders: Mapping[str, DateOrder]) -> str:
    if cell is None:
        return f"null::{column.sql_type}"
    if column.kind in ("date", "datetime"):
        order = orders[column.name].order if column.name in orders else "iso"
        return f"read_datetime_{order}({cell})::{column.sql_type}"
    if column.kind in WORDY:
        listed = ", ".join(literal(word) for word in _words(column))
        return f"case when lower({cell}) in ({listed}) then lower({cell}) end"
    readers = {"number": "read_number", "money": "read_money", "yesno": "read_yesno", "count": "read_number"}
    return f"{readers.get(column.kind, 'blank_to_null')}({cell})::{column.sql_type}"


def _words(column: Column) -> tuple[str, ...]:
    return tuple(COMPONENT_BY_NAME) if column.kind == "component" else column.words


def _word_sql(column: Column, cells: Mapping[str, str]) -> tuple[str, str]:
    cell = cells.get(column.name)
    if cell is None:
        return f"{column.name}_word", "null::varchar"
    listed = ", ".join(literal(word) for word in _words(column))
    return f"{column.name}_word", f"case when lower({cell}) in ({listed}) then null else blank_to_null({cell}) end"


def _visit_id(column: Column, cell: str | None, cells: Mapping[str, str], orders: Mapping[str, DateOrder]) -> str:
    own = [cells[c.name] for c in TABLES["visits"].columns if c.name in cells and c.name != "visit_id"]
    made = "'v' || left(md5(concat_ws('|', " + ", ".join(f"coalesce(trim({c}), '')" for c in own) + ")), 14)"
    return f"coalesce(blank_to_null({cell}), {made})" if cell else made


def _first_rating(mark: str, partner: str, *, second: bool) -> Special:
    """Read a rating that may be written with its partner in one column: ``45/5``, ``88-108``."""

    def value(column: Column, cell: str | None, cells: Mapping[str, str], orders: Mapping[str, DateOrder]) -> str:
        other = cells.get(partner)
        if not second:
            return f"coalesce(read_number({cell}), first_of_two({cell}, '{mark}'))" if cell else "null::double"
        own = f"read_number({cell})" if cell else "null::double"
        return f"coalesce({own}, second_of_two({other}, '{mark}'))" if other else own

    return value


def _ounces(column: Column, cell: str | None, cells: Mapping[str, str], orders: Mapping[str, DateOrder]) -> str:
    return f"read_ounces({cell})" if cell else "null::double"


def _reading_unit(column: Column, cell: str | None, cells: Mapping[str, str], orders: Mapping[str, DateOrder]) -> str:
    behind = f"unit_behind({cells['value']})" if "value" in cells else "null::varchar"
    return f"coalesce(blank_to_null({cell}), {behind})" if cell else behind


SPECIAL: Mapping[tuple[str, str], Special] = {
    ("visits", "visit_id"): _visit_id,
    ("visits", "refrigerant_added_oz"): _ounces,
    ("equipment", "charge_oz"): _ounces,
    ("equipment", "herm_uf"): _first_rating("/", "fan_uf", second=False),
    ("equipment", "fan_uf"): _first_rating("/", "herm_uf", second=True),
    ("equipment", "start_uf_min"): _first_rating("-", "start_uf_max", second=False),
    ("equipment", "start_uf_max"): _first_rating("-", "start_uf_min", second=True),
    ("catalogue", "herm_uf"): _first_rating("/", "fan_uf", second=False),
    ("catalogue", "fan_uf"): _first_rating("/", "herm_uf", second=True),
    ("catalogue", "start_uf_min"): _first_rating("-", "start_uf_max", second=False),
    ("catalogue", "start_uf_max"): _first_rating("-", "start_uf_min", second=True),
    ("readings", "unit"): _reading_unit,
}
"""Columns that need more than their kind's reader."""
