"""How each column is read from its cell, twice over: at a glance for most rows, with care for the rest.

A glance is one plain cast; it is all that millions of ordinary rows need. A row in which a glance doesn't settle
every cell is *hard*: it is read again with the reader that knows money signs, decimal commas, spelled months, pounds
with ounces and two ratings in one cell (care.py, ``sql/value_*.sql``), and only then refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fleet.ingest.care import PARTNERS, care_sql, second_sql
from fleet.ingest.conventions import Conventions
from fleet.ingest.headers import HeaderPlan
from fleet.store.database import literal
from fleet.store.schema import STAGES, VISITS, Column, Table

WORDY = ("word", "component")
DATED = ("date", "datetime")
MEASURED = ("number", "count", "money")


@dataclass(frozen=True, slots=True, kw_only=True)
class CellSql:
    """One column as SQL over the cells c0 .. cn.

    ``glance`` and ``care`` are its two readers; ``hard`` is the condition, over the value under the column's
    name and the cells, in which a glance isn't enough, and ``unread`` the one in which care wasn't either; ``refused``
    names the conditions under which the value is refused after all; ``note`` says what a careful reading changed, null
    where it only read.
    """

    column: Column
    cell: str | None
    glance: str
    care: str
    hard: str
    unread: str
    refused: Mapping[str, str]
    note: str = ""

    @property
    def name(self) -> str:
        """The column's name."""
        return self.column.name


def cells_of(plan: HeaderPlan) -> dict[str, str]:
    """Return the SQL of the cell of each column a file has: a header's, two joined, or the same for every record."""
    cells = {column.name: f"c{position}" for position, column in plan.columns}
    for name, position in plan.clock.items():
        if plan.day_from.get(name) == "reported_at":
            # its day is found when the report's is known: the same, or the next (hard_rows.py)
            cells[name] = f"c{position}"
            continue
        # a date that carries a time of its own gives way to the column that holds it
        day = f"regexp_replace(trim({cells[name]}), '[ T]\\d?\\d:.*$', '')"
        time = f"nullif(trim(c{position}), '')"
        joined = f"concat_ws(' ', nullif({day}, ''), {time})"
        cells[name] = f"case when {time} is not null then {joined} end" if name in plan.day_from else joined
    return cells | {column.name: literal(value) for column, value in plan.always}


def read_cells(table: Table, plan: HeaderPlan, conventions: Conventions) -> tuple[CellSql, ...]:
    """Return how every column of ``table`` is read from a file understood by ``plan``."""
    cells = cells_of(plan)
    return tuple(_cell_sql(table, column, cells, plan, conventions) for column in table.columns)


def _cell_sql(
    table: Table, column: Column, cells: Mapping[str, str], plan: HeaderPlan, conventions: Conventions
) -> CellSql:
    cell = cells.get(column.name)
    if special := SPECIAL.get((table.name, column.name)):
        glance, care = special(cell, cells)
    else:
        glance, care = _readers(table, column, cells, plan, conventions)
    unread = _unread(column, cell)
    glanced = _doubtful(column, cell, conventions)
    in_unit = column.name in plan.units
    if cell is not None and (in_unit or column.name in conventions.comma):
        # a glance would read its numbers, but not as what they are
        glance, glanced = care, []
    return CellSql(
        column=column, cell=cell, glance=glance, care=care, hard=" or ".join(unread + glanced),
        unread=" or ".join(unread), refused=_refused(column, cell), note=_note(column, cell, in_unit=in_unit),
    )  # fmt: skip


def _readers(
    table: Table, column: Column, cells: Mapping[str, str], plan: HeaderPlan, conventions: Conventions
) -> tuple[str, str]:
    cell = cells.get(column.name)
    unit, comma = plan.units.get(column.name, ""), column.name in conventions.comma
    if (partner := _partner(table, column, cells)) is not None:
        care = second_sql(column, cell, partner, unit=unit, comma=comma)
        return (f"glance_number({cell})" if cell else "null::double"), care
    if cell is None:
        nothing = "null::timestamp" if column.kind in DATED else f"null::{column.sql_type}"
        return nothing, nothing
    if column.kind in DATED:
        order = conventions.orders[column.name].order if column.name in conventions.orders else "iso"
        return f"glance_{order}({cell})", f"read_datetime_{order}({cell})"
    if column.kind in GLANCES:
        care = care_sql(table.name, column, cell, unit=unit, comma=comma)
        return f"{GLANCES[column.kind]}({cell})", f"({care})::{column.sql_type}"
    return f"blank_to_null({cell})", f"case when not no_text({cell}) then unguarded(trim({cell})) end"


def _partner(table: Table, column: Column, cells: Mapping[str, str]) -> str | None:
    """Return the cell in which a second number may stand: a fan's rating, a range's upper end."""
    if table.name not in RATED or column.name not in PARTNERS:
        return None
    return cells.get(PARTNERS[column.name][0])


def _unread(column: Column, cell: str | None) -> list[str]:
    """Return the conditions in which a value wasn't read, or can't be what it is."""
    name, conditions = column.name, []
    if column.needed:
        conditions.append(f"{name} is null")
    elif cell is not None and column.kind in UNREADABLE:
        conditions.append(f"({name} is null and {cell} is not null)")
    if cell is not None and column.kind == "number":
        conditions.append(f"not isfinite({name})")
    if cell is not None and column.kind in DATED:
        # "24-07-01" casts to a day of the year 24
        conditions.append(f"not ({name} between timestamp '1900-01-01' and timestamp '2199-12-31')")
    if cell is not None and column.positive:
        conditions.append(f"{name} < 0")
    return conditions


def _doubtful(column: Column, cell: str | None, conventions: Conventions) -> list[str]:
    """Return the conditions in which a plain cast may have read a value too lightly."""
    if cell is None:
        return []
    if column.kind in MEASURED:
        # a cast takes "1_000" for a thousand
        return [f"contains({cell}, '_')"]
    if column.kind in DATED and column.name not in conventions.orders:
        # a cast passes over what follows a space ("10:00 PM", "10:00 later") and over an offset
        usual = f"length({cell}) = 10 or ({cell}[14] = ':' and (length({cell}) = 16 or {cell}[17:] like ':__'))"
        return [f"(({usual}) and right({cell}, 1) between '0' and '9') is false"]
    if column.kind == "tag" and column.needed:
        # a spreadsheet's ways to keep a number as text: '0012 and ="0012"
        return [f"prefix({cell}, {literal(mark)})" for mark in ("'", "=")]
    return []


def _refused(column: Column, cell: str | None) -> dict[str, str]:
    refused: dict[str, str] = {}
    if column.needed:
        nothing = "nothing_said" if column.kind in UNREADABLE else "no_text"
        refused[f"{column.name}_missing"] = f"{nothing}({cell}) and {column.name} is null"
    if cell is not None and column.kind in UNREADABLE:
        refused[f"{column.name}_{UNREADABLE[column.kind]}"] = f"{column.name} is null and not nothing_said({cell})"
    if cell is not None and column.positive:
        refused[f"{column.name}_negative"] = f"{column.name} < 0"
    return refused


def _note(column: Column, cell: str | None, *, in_unit: bool) -> str:
    if cell is None:
        return ""
    if column.kind in DATED:
        return f"offset_note({cell})"
    return f"microfarad_note({cell})" if column.unit == "microfarads" and not in_unit else ""


GLANCES: Mapping[str, str] = {
    "number": "glance_number",
    "count": "glance_number",
    "money": "glance_money",
    "yesno": "glance_yesno",
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

RATED = ("equipment", "catalogue", "sheet")
"""Tables whose ratings may stand two in one cell."""

Special = Callable[[str | None, Mapping[str, str]], tuple[str, str]]


def _visit_id(cell: str | None, cells: Mapping[str, str]) -> tuple[str, str]:
    """Make a missing visit_id from the row's visit columns, never from those of readings or parts."""
    own = [cells[c.name] for c in VISITS.columns if c.name in cells and c.name != "visit_id"]
    made = "'v' || left(md5(concat_ws('|', " + ", ".join(f"coalesce(trim({c}), '')" for c in own) + ")), 14)"
    made = f"coalesce(blank_to_null({cell}), {made})" if cell else made
    return made, made


def _reading_unit(cell: str | None, cells: Mapping[str, str]) -> tuple[str, str]:
    """Read a unit of measure from its own cell, else from behind the value."""
    glance = f"blank_to_null({cell})" if cell else "null::varchar"
    if "value" not in cells:
        return glance, glance
    behind = f"unit_behind({cells['value']})"
    return glance, f"coalesce(blank_to_null({cell}), {behind})" if cell else behind


SPECIAL: Mapping[tuple[str, str], Special] = {
    ("visits", "visit_id"): _visit_id,
    ("sheet", "visit_id"): _visit_id,
    ("readings", "unit"): _reading_unit,
}
"""Columns that need more than their kind's reader."""

TOGETHER: Mapping[str, tuple[str, ...]] = {
    "fan_uf": ("herm_uf",),
    "start_uf_max": ("start_uf_min",),
    "unit": ("value",),
    **{f"fan_{stage}_uf": (f"herm_{stage}_uf",) for stage in STAGES},
}
"""A column whose cell may be written in another's is read with care whenever the other is."""

PLAIN_CELL = re.compile(r"c\d+")
"""The name of a cell, as against one joined from two or the same for every record."""
