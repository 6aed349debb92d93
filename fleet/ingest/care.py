"""Which macro reads a column with care, in which unit, and whether its numbers carry decimal commas.

The macros are in ``sql/value_*.sql``; each returns null for what it can't read. To teach the loader another way to
write a value, change its macro and add a line to the test beside it (tests/unit/test_values.py and its neighbours).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from fleet.store.database import Database, read_sql
from fleet.store.schema import STAGES, Column

MACRO_FILES: tuple[str, ...] = (
    "value_text",
    "value_numbers",
    "value_money",
    "value_decimals",
    "value_microfarads",
    "value_ratings",
    "value_units",
    "value_measures",
    "value_clock",
    "value_moments",
    "value_datetimes",
)
"""The files of macros, in the order they are made."""

KIND_MACROS: Mapping[str, str] = MappingProxyType(
    {"number": "read_number", "count": "read_number", "money": "read_money", "yesno": "read_yesno"}
)
"""The macro of a kind whose column says no unit."""

UNIT_MACROS: Mapping[str, str] = MappingProxyType(
    {
        "microfarads": "read_microfarads",
        "minutes": "read_minutes",
        "ounces": "read_ounces",
        "degrees Fahrenheit": "read_fahrenheit",
        "degrees Celsius": "read_celsius",
        "tons of refrigeration": "read_tons",
        "metres": "read_metres",
        "days": "read_days",
        "months": "read_months",
        "volts AC": "read_volts",
        "amperes": "read_amps",
        "hertz": "read_hertz",
        "percent": "read_percent",
        "pieces": "read_pieces",
        "pieces a pack": "read_pieces",
    }
)
"""The macro of a number in a unit of the schema."""

OWN_MACROS: Mapping[tuple[str, str], str] = MappingProxyType(
    {
        **{
            (table, column): macro
            for table in ("equipment", "catalogue", "sheet")
            for column, macro in (("herm_uf", "herm_microfarads"), ("start_uf_min", "low_microfarads"))
        },
        ("catalogue", "volts"): "read_rated_volts",
        **{("sheet", f"herm_{stage}_uf"): "herm_microfarads" for stage in STAGES},
    }
)
"""Columns (table, column) that may hold two numbers in one cell."""

PARTNERS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "fan_uf": ("herm_uf", "fan_microfarads"),
        "start_uf_max": ("start_uf_min", "high_microfarads"),
        **{f"fan_{stage}_uf": (f"herm_{stage}_uf", "fan_microfarads") for stage in STAGES},
    }
)
"""For the second of two numbers: the column in whose cell it may stand, and the macro that takes it from there."""

CURVED_UNITS = ("mF", "F")
"""Units whose worth depends on the number: 0.0442 mF is 44.2 uF, and 44.2 mF the trade's 44.2 uF."""


def make_macros(database: Database, statement: str) -> None:
    """Make the macros a statement names and those they name; a log of plain values needs none of them."""
    texts = _macro_texts()
    wanted, seen = [statement], set()
    while wanted:
        names = set(_CALLED.findall(wanted.pop()))
        for file, (made, text) in texts.items():
            if file not in seen and names & made:
                seen.add(file)
                wanted.append(text)
    for file in MACRO_FILES:
        if file in seen:
            database.run_file_once("fleet.ingest", file)


_CALLED = re.compile(r"(\w+)\(")


@cache
def _macro_texts() -> Mapping[str, tuple[frozenset[str], str]]:
    """Return the names each file of macros makes, and its text."""
    texts = {file: read_sql("fleet.ingest", file) for file in MACRO_FILES}
    return {
        file: (frozenset(re.findall(r"create or replace macro (\w+)\(", text)), text) for file, text in texts.items()
    }


def care_macro(table: str, column: Column) -> str:
    """Return the macro that reads a column of numbers, money, or yes and no with care; KeyError for other kinds."""
    if macro := OWN_MACROS.get((table, column.name)):
        return macro
    if column.kind == "number" and column.unit in UNIT_MACROS:
        return UNIT_MACROS[column.unit]
    return KIND_MACROS[column.kind]


def care_sql(table: str, column: Column, cell: str, *, unit: str = "", comma: bool = False) -> str:
    """Return the SQL that reads ``cell`` as ``column`` with care.

    Parameters
    ----------
    table : str
        The log table, ``sheet`` for a single visits sheet.
    cell : str
        The name of a text column.
    unit : str
        The unit the file's header names, where it isn't the column's own ("h", "lb", "C", "nF").
    comma : bool
        Whether the column carries decimal commas (`fleet.ingest.decimals`).

    Returns
    -------
    str
        An expression, null for what can't be read; a fan's or a range's second number is looked for in its own cell
        only (`second_sql` finds it in its partner's).
    """
    macro = care_macro(table, column)
    text = f"from_comma({cell})" if comma else cell
    if not unit:
        return f"{macro}({text})"
    said = f"{macro}(with_unit({text}, '{unit}'))"
    if unit in CURVED_UNITS:
        return said
    # what the unit is worth is worked out once, by the macro itself; a bare number then costs a cast
    zero, one = f"{macro}('0 {unit}')", f"{macro}('1 {unit}')"
    return (
        f"case when is_plain({text}) then round(try_cast({text} as double) * ({one} - {zero}) + {zero}, 9) "
        f"else {said} end"
    )


def second_sql(column: Column, own: str | None, partner: str | None, *, unit: str = "", comma: bool = False) -> str:
    """Return the SQL of the second of two numbers: from its own cell, else from its partner's ("45/5", "88-108").

    Parameters
    ----------
    column : Column
        One of `PARTNERS`: a fan's rating or reading, a range's upper end.
    own, partner : str or None
        The cells of the column and of the one it is written with, None where the file has no such column; one
        of them is there.
    """
    macro = PARTNERS[column.name][1]
    tried = []
    for cell in (own, partner):
        if cell:
            text = f"from_comma({cell})" if comma else cell
            tried.append(f"{macro}(with_unit({text}, '{unit}'))" if unit else f"{macro}({text})")
    # no coalesce: it would work out what it doesn't need
    second = f"case when {tried[0]} is not null then {tried[0]} else {tried[1]} end" if len(tried) > 1 else tried[0]
    if own is None:
        return second
    alone = care_sql("", column, own, unit=unit, comma=comma)
    return f"case when {alone} is not null then {alone} else {second} end"
