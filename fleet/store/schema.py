"""The tables of a service log: columns, kinds, units, grain and keys, as the log contract states them.

Kinds
-----
tag        an identifier kept as text (never a number: leading zeros count)
text       free text
word       one of a short list; other words are kept as ``other`` and flagged
component  one of the trade's components; other words are kept as ``other`` with their own word
date       calendar day, local to the property
datetime   local wall-clock time
number     a finite number in the column's unit
count      a whole number
money      decimal money with four places
yesno      true or false
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from fleet.errors import SchemaError

SQL_TYPES: Mapping[str, str] = MappingProxyType(
    {
        "tag": "varchar",
        "text": "varchar",
        "word": "varchar",
        "component": "varchar",
        "date": "date",
        "datetime": "timestamp",
        "number": "double",
        "count": "bigint",
        "money": "decimal(18,4)",
        "yesno": "boolean",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a log table."""

    name: str
    kind: str
    meaning: str = ""
    unit: str = ""
    needed: bool = False
    words: tuple[str, ...] = ()
    positive: bool = False

    @property
    def sql_type(self) -> str:
        """The DuckDB type that holds it."""
        return SQL_TYPES[self.kind]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One log table: what a row is, which columns tell rows apart, and the columns."""

    name: str
    clean_name: str
    grain: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]

    def column(self, name: str) -> Column:
        """Return the column of that name; SchemaError if there is none."""
        for column in self.columns:
            if column.name == name:
                return column
        msg = f"table {self.name} has no column {name!r}; it has {', '.join(c.name for c in self.columns)}"
        raise SchemaError(msg)


CALL_TYPES = (
    "no cooling",
    "poor cooling",
    "breaker trip",
    "noise",
    "water leak",
    "preventive maintenance",
    "turnover",
    "follow-up",
    "other",
)
OUTCOMES = ("cooling restored", "temporary", "waiting for part", "no access", "unit replaced")
WHYS = ("failed", "weak", "preventive", "upgrade", "unknown")
COMPRESSOR_TYPES = ("scroll", "rotary", "reciprocating", "unknown")
STAGES = ("found", "left", "new")
SECTIONS = ("herm", "fan", "start")
METHODS = ("bench", "running")


def _columns(*rows: tuple[object, ...]) -> tuple[Column, ...]:
    made = []
    for name, kind, unit, meaning, *rest in rows:
        extra: dict[str, Any] = dict(item for item in rest if isinstance(item, tuple))
        made.append(Column(name=str(name), kind=str(kind), unit=str(unit), meaning=str(meaning), **extra))
    return tuple(made)


NEEDED = ("needed", True)
POSITIVE = ("positive", True)

EQUIPMENT = Table(
    name="equipment",
    clean_name="equipment",
    grain="one row a condensing unit",
    key=("equipment_id", "installed_on"),
    columns=_columns(
        ("equipment_id", "tag", "", "the tag on the unit", NEEDED),
        ("property", "tag", "", "the complex"),
        ("building", "tag", "", "the building", NEEDED),
        ("apartment", "tag", "", "what the unit serves"),
        ("model", "tag", "", "as on the data plate"),
        ("model_family", "tag", "", "models that share parts"),
        ("compressor_type", "word", "", "scroll, rotary, reciprocating or unknown", ("words", COMPRESSOR_TYPES)),
        ("tons", "number", "tons of refrigeration", "nominal cooling capacity", POSITIVE),
        ("refrigerant", "tag", "", "data-plate refrigerant"),
        ("charge_oz", "number", "ounces", "data-plate charge", POSITIVE),
        ("installed_on", "date", "", "blank = unknown"),
        ("retired_on", "date", "", "blank = still in service"),
        ("herm_uf", "number", "microfarads", "rated compressor section", POSITIVE),
        ("fan_uf", "number", "microfarads", "rated fan section", POSITIVE),
        ("tolerance_pct", "number", "percent", "marked tolerance of the run capacitor", POSITIVE),
        ("start_uf_min", "number", "microfarads", "marked low end of the start capacitor", POSITIVE),
        ("start_uf_max", "number", "microfarads", "marked high end of the start capacitor", POSITIVE),
        ("priority_home", "yesno", "", "heat is a danger to the resident"),
        ("warranty_until", "date", "", "last day of the maker's parts warranty"),
    ),
)

VISITS = Table(
    name="visits",
    clean_name="visit",
    grain="one row a visit",
    key=("visit_id",),
    columns=_columns(
        ("visit_id", "tag", "", "made from the row when absent"),
        ("equipment_id", "tag", "", "the unit's tag", NEEDED),
        ("reported_at", "datetime", "", "when the call came in", NEEDED),
        ("arrived_at", "datetime", "", ""),
        ("finished_at", "datetime", "", ""),
        ("recorded_at", "datetime", "", "when it was written down"),
        ("call_type", "word", "", "why the visit was made", ("words", CALL_TYPES)),
        ("after_hours", "yesno", "", "outside the property's working hours"),
        ("technician", "tag", "", "in-house person"),
        ("vendor", "tag", "", "outside firm, if any"),
        ("finding", "component", "", "what was at fault"),
        ("outcome", "word", "", "how it was left", ("words", OUTCOMES)),
        ("labor_minutes", "number", "minutes", "", POSITIVE),
        ("labor_cost", "money", "money", ""),
        ("refrigerant_cost", "money", "money", ""),
        ("other_cost", "money", "money", ""),
        ("refrigerant_added_oz", "number", "ounces", "", POSITIVE),
        ("indoor_f", "number", "degrees Fahrenheit", "indoor temperature found"),
        ("notes", "text", "", "free text"),
    ),
)

READINGS = Table(
    name="readings",
    clean_name="reading",
    grain="one row a measurement",
    key=("visit_id",),
    columns=_columns(
        ("visit_id", "tag", "", "the visit it was taken on", NEEDED),
        ("component", "word", "", "herm, fan or start", NEEDED, ("words", SECTIONS)),
        ("stage", "word", "", "found, left, or new = tested before fitting", ("words", STAGES)),
        ("value", "number", "the column unit's", "the reading"),
        ("unit", "tag", "", "uF unless said"),
        ("method", "word", "", "bench or running", ("words", METHODS)),
        ("volts", "number", "volts AC", "across the capacitor, running", POSITIVE),
        ("amps", "number", "amperes", "in the capacitor's lead, running", POSITIVE),
        ("hertz", "number", "hertz", "line frequency", POSITIVE),
        ("meter", "tag", "", "which meter, if known"),
    ),
)

PARTS_USED = Table(
    name="parts_used",
    clean_name="part",
    grain="one row a part fitted",
    key=("visit_id",),
    columns=_columns(
        ("visit_id", "tag", "", "the visit it was fitted on", NEEDED),
        ("part_no", "tag", "", "the catalogue's number"),
        ("component", "component", "", "what it is a part of"),
        ("quantity", "number", "pieces", "1 when blank", POSITIVE),
        ("unit_cost", "money", "money a piece", ""),
        ("why", "word", "", "failed, weak, preventive, upgrade or unknown", ("words", WHYS)),
        ("warranty", "yesno", "", "paid by the maker"),
        ("credit", "money", "money", "money got back"),
        ("lot", "tag", "", "the maker's date or lot code"),
        ("taken_from", "tag", "", "which shelf"),
    ),
)

CATALOGUE = Table(
    name="catalogue",
    clean_name="catalogue",
    grain="one row a part that can be ordered",
    key=("part_no",),
    columns=_columns(
        ("part_no", "tag", "", "", NEEDED),
        ("component", "component", "", "what it is a part of", NEEDED),
        ("herm_uf", "number", "microfarads", "", POSITIVE),
        ("fan_uf", "number", "microfarads", "", POSITIVE),
        ("volts", "number", "volts AC", "", POSITIVE),
        ("start_uf_min", "number", "microfarads", "", POSITIVE),
        ("start_uf_max", "number", "microfarads", "", POSITIVE),
        ("tons", "number", "tons of refrigeration", "", POSITIVE),
        ("unit_cost", "money", "money a piece", "", POSITIVE),
        ("lead_time_days", "number", "days", "", POSITIVE),
        ("pack_size", "number", "pieces a pack", "", POSITIVE),
        ("shelf_life_months", "number", "months", "", POSITIVE),
        ("fits", "text", "", "model families, ; between"),
    ),
)

STOCK = Table(
    name="stock",
    clean_name="stock",
    grain="one row a part on a shelf",
    key=("property", "location", "part_no"),
    columns=_columns(
        ("property", "tag", "", ""),
        ("location", "tag", "", "a building, shop, or van:NAME", NEEDED),
        ("part_no", "tag", "", "", NEEDED),
        ("on_hand", "number", "pieces", "", POSITIVE),
        ("on_order", "number", "pieces", "", POSITIVE),
    ),
)

WEATHER = Table(
    name="weather",
    clean_name="weather",
    grain="one row a day",
    key=("property", "date"),
    columns=_columns(
        ("property", "tag", "", ""),
        ("date", "date", "", "", NEEDED),
        ("high_f", "number", "degrees Fahrenheit", ""),
        ("low_f", "number", "degrees Fahrenheit", ""),
        ("high_c", "number", "degrees Celsius", ""),
        ("low_c", "number", "degrees Celsius", ""),
    ),
)

COVERAGE = Table(
    name="coverage",
    clean_name="coverage",
    grain="one row a stretch of time in which the log was kept",
    key=("property", "from_date", "to_date"),
    columns=_columns(
        ("property", "tag", "", ""),
        ("from_date", "date", "", "first day", NEEDED),
        ("to_date", "date", "", "last day", NEEDED),
    ),
)

PROPERTIES = Table(
    name="properties",
    clean_name="property",
    grain="one row a complex",
    key=("property",),
    columns=_columns(
        ("property", "tag", "", "", NEEDED),
        ("hours_from", "tag", "", "start of the working day, 8:00 unless given"),
        ("hours_to", "tag", "", "end of the working day, 17:00 unless given"),
        ("workdays", "tag", "", "mon-fri unless given"),
        ("currency", "tag", "", ""),
    ),
)

BUILDINGS = Table(
    name="buildings",
    clean_name="building",
    grain="one row a building",
    key=("property", "building"),
    columns=_columns(
        ("property", "tag", "", ""),
        ("building", "tag", "", "", NEEDED),
        ("walk_order", "number", "", "position in the walk"),
        ("x", "number", "metres", ""),
        ("y", "number", "metres", ""),
        ("has_shelf", "yesno", "", "parts can be kept there"),
    ),
)

OCCUPANCY = Table(
    name="occupancy",
    clean_name="occupancy",
    grain="one row a stretch in which a home stood empty",
    key=("equipment_id", "vacant_from"),
    columns=_columns(
        ("equipment_id", "tag", "", "", NEEDED),
        ("vacant_from", "date", "", "first day", NEEDED),
        ("vacant_to", "date", "", "last day; blank = still empty"),
    ),
)

TABLES: Mapping[str, Table] = MappingProxyType(
    {
        table.name: table
        for table in (
            EQUIPMENT,
            VISITS,
            READINGS,
            PARTS_USED,
            CATALOGUE,
            STOCK,
            WEATHER,
            COVERAGE,
            PROPERTIES,
            BUILDINGS,
            OCCUPANCY,
        )
    }
)

SHEET_COLUMNS: tuple[Column, ...] = (
    *(replace(c, needed=False) for c in EQUIPMENT.columns if c.name != "equipment_id"),
    *_columns(
        *(
            (f"{section}_{stage}_uf", "number", "microfarads", f"{section} section as {stage}", POSITIVE)
            for section in SECTIONS
            for stage in STAGES
        ),
        ("meter", "tag", "", "which meter"),
        ("part_no", "tag", "", ""),
        ("part_component", "component", "", ""),
        ("part_quantity", "number", "pieces", "", POSITIVE),
        ("part_cost", "money", "money a piece", ""),
        ("part_why", "word", "", "", ("words", WHYS)),
        ("part_lot", "tag", "", ""),
    ),
)
"""What a single visits sheet may carry beside the visit's own columns."""

GROUPING_COLUMNS: tuple[str, ...] = tuple(c.name for c in EQUIPMENT.columns if c.name != "equipment_id")
"""Equipment columns an answer may be grouped by."""


def table(name: str) -> Table:
    """Return the log table of that name; SchemaError if there is none."""
    if name not in TABLES:
        msg = f"there is no table {name!r}; a log has {', '.join(TABLES)}"
        raise SchemaError(msg)
    return TABLES[name]


def quote_identifier(name: str, allowed: tuple[str, ...] | None = None) -> str:
    """Return ``name`` as a quoted SQL identifier, refusing what isn't in ``allowed``.

    Identifiers reach SQL only through here: values are bound, names are checked.
    """
    if allowed is not None and name not in allowed:
        msg = f"{name!r} is not a column to group by; choose from {', '.join(allowed)}"
        raise SchemaError(msg)
    if "\x00" in name:
        msg = f"{name!r} can't be a column name"
        raise SchemaError(msg)
    return '"' + name.replace('"', '""') + '"'
