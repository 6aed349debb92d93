"""How each column is read from its cell, twice over: at a glance for most rows, with care for the rest.

A glance is one plain cast; it is all that millions of ordinary rows need. A row in which a glance doesn't settle
every cell is *hard*: it is read again with the reader that knows money signs, decimal commas, spelled months, pounds
with ounces and two ratings in one cell (``sql/values.sql``), and only then refused.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fleet.ingest.dates import DateOrder
from fleet.store.schema import VISITS, Column, Table

WORDY = ("word", "component")
DATED = ("date", "datetime")


@dataclass(frozen=True, slots=True, kw_only=True)
class CellSql:
    """One column as SQL over the cells c0 .. cn.

    ``glance`` and ``care`` are its two readers; ``hard`` is the condition, over the value under the column's
    name and the cells, in which a glance isn't enough; ``refused`` names the conditions under which the value is
    refused after all.
    """

    column: Column
    cell: str | None
    glance: str
    care: str
    hard: str
    refused: Mapping[str, str]

    @property
    def name(self) -> str:
        """The column's name."""
        return self.column.name


def read_cells(table: Table, cells: Mapping[str, str], orders: Mapping[str, DateOrder]) -> tuple[CellSql, ...]:
    """Return how every column of ``table`` is read; ``cells`` names the cell of each column the file has."""
    return tuple(_cell_sql(table, column, cells, orders) for column in table.columns)


def _cell_sql(table: Table, column: Column, cells: Mapping[str, str], orders: Mapping[str, DateOrder]) -> CellSql:
    cell = cells.get(column.name)
    order = orders[column.name].order if column.name in orders else "iso"
    glance, care = _readers(column, cell, order)
    if special := SPECIAL.get((table.name, column.name)):
        glance, care = special(glance, care, cell, cells)
    return CellSql(
        column=column, cell=cell, glance=glance, care=care,
        hard=" or ".join(_hard(column, cell)), refused=_refused(column, cell),
    )  # fmt: skip


def _readers(column: Column, cell: str | None, order: str) -> tuple[str, str]:
    if cell is None:
        nothing = "null::timestamp" if column.kind in DATED else f"null::{column.sql_type}"
        return nothing, nothing
    if column.kind in DATED:
        return f"glance_{order}({cell})", f"read_datetime_{order}({cell})"
    glance, care = READERS.get(column.kind, ("blank_to_null", "blank_to_null"))
    return f"{glance}({cell})", f"{care}({cell})::{column.sql_type}"


def _hard(column: Column, cell: str | None) -> list[str]:
    name, conditions = column.name, []
    if column.needed:
        conditions.append(f"{name} is null")
    elif cell is not None and column.kind in UNREADABLE:
        conditions.append(f"({name} is null and {cell} is not null)")
    if cell is not None and column.kind == "number":
        conditions.append(f"not isfinite({name})")
    if cell is not None and column.kind in DATED:
        # "24-07-01" casts to a day of the year 24, and a cast passes over the PM of "10:00 PM"
        conditions.append(f"not ({name} between timestamp '1900-01-01' and timestamp '2199-12-31')")
        conditions += [f"suffix({cell}, 'M')", f"suffix({cell}, 'm')"]
    if cell is not None and column.positive:
        conditions.append(f"{name} < 0")
    return conditions


def _refused(column: Column, cell: str | None) -> dict[str, str]:
    refused: dict[str, str] = {}
    if column.needed:
        refused[f"{column.name}_missing"] = f"blank_to_null({cell}) is null"
    if cell is not None and column.kind in UNREADABLE:
        refused[f"{column.name}_{UNREADABLE[column.kind]}"] = (
            f"{column.name} is null and blank_to_null({cell}) is not null"
        )
    if cell is not None and column.positive:
        refused[f"{column.name}_negative"] = f"{column.name} < 0"
    return refused


READERS: Mapping[str, tuple[str, str]] = {
    "number": ("glance_number", "read_number"),
    "count": ("glance_number", "read_number"),
    "money": ("glance_money", "read_money"),
    "yesno": ("glance_yesno", "read_yesno"),
}

UNREADABLE: Mapping[str, str] = {
    "number": "not_a_number",
    "money": "not_money",
    "count": "not_a_number",
    "date": "not_a_date",
    "datetime": "not_a_date",
    "yesno": "not_yes_or_no",
}
"""How the reason is named when a filled cell can't be read as its kind."""

Special = Callable[[str, str, str | None, Mapping[str, str]], tuple[str, str]]


def _visit_id(glance: str, care: str, cell: str | None, cells: Mapping[str, str]) -> tuple[str, str]:
    """Make a missing visit_id from the row's visit columns, never from those of readings or parts."""
    own = [cells[c.name] for c in VISITS.columns if c.name in cells and c.name != "visit_id"]
    made = "'v' || left(md5(concat_ws('|', " + ", ".join(f"coalesce(trim({c}), '')" for c in own) + ")), 14)"
    made = f"coalesce(blank_to_null({cell}), {made})" if cell else made
    return made, made


def _first_of(mark: str) -> Special:
    """Read a rating that may be written with its partner in one cell: ``45/5``, ``88-108``."""

    def readers(glance: str, care: str, cell: str | None, cells: Mapping[str, str]) -> tuple[str, str]:
        return (glance, f"coalesce({care}, first_of_two({cell}, '{mark}'))") if cell else (glance, care)

    return readers


def _second_of(mark: str, partner: str) -> Special:
    def readers(glance: str, care: str, cell: str | None, cells: Mapping[str, str]) -> tuple[str, str]:
        other = cells.get(partner)
        return (glance, f"coalesce({care}, second_of_two({other}, '{mark}'))") if other else (glance, care)

    return readers


def _ounces(glance: str, care: str, cell: str | None, cells: Mapping[str, str]) -> tuple[str, str]:
    return (glance, f"read_ounces({cell})") if cell else (glance, care)


def _reading_unit(glance: str, care: str, cell: str | None, cells: Mapping[str, str]) -> tuple[str, str]:
    if "value" not in cells:
        return glance, care
    behind = f"unit_behind({cells['value']})"
    return glance, f"coalesce(blank_to_null({cell}), {behind})" if cell else behind


SPECIAL: Mapping[tuple[str, str], Special] = {
    ("visits", "visit_id"): _visit_id,
    ("sheet", "visit_id"): _visit_id,
    ("sheet", "refrigerant_added_oz"): _ounces,
    ("sheet", "charge_oz"): _ounces,
    ("visits", "refrigerant_added_oz"): _ounces,
    ("equipment", "charge_oz"): _ounces,
    **{
        (table, column): reader
        for table in ("equipment", "catalogue", "sheet")
        for column, reader in (
            ("herm_uf", _first_of("/")),
            ("fan_uf", _second_of("/", "herm_uf")),
            ("start_uf_min", _first_of("-")),
            ("start_uf_max", _second_of("-", "start_uf_min")),
        )
    },
    ("readings", "unit"): _reading_unit,
}
"""Columns that need more than their kind's reader."""

TOGETHER: Mapping[str, str] = {"fan_uf": "herm_uf", "start_uf_max": "start_uf_min", "unit": "value"}
"""A column whose cell may be written in another's is read with care whenever the other is."""
