"""Which answers does a log make possible, which are missing, and what would give them?

`NEEDS` says of each answer which columns it can't do without and which make it better; both were read off the SQL
of histories, analysis and planning. Columns are named table.column; ``a | b`` means that either will do.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from fleet.store.schema import EQUIPMENT, SECTIONS, STAGES

CANNOT = "can't be answered"

FAULT = "visits.finding | parts_used.component"
"""What was wrong, or what was fitted: one of them tells a failure."""

NAMED_BY_CATALOGUE = frozenset({"parts_used.part_no", "catalogue.part_no", "catalogue.component"})
"""Where these are, a part's number tells its component."""

RATED = "equipment.herm_uf | equipment.fan_uf"
READ = "readings.value | readings.amps"


@dataclass(frozen=True, slots=True)
class Need:
    """What one answer needs: ``needs`` it can't do without; ``better`` has (column, what is given without it)."""

    answer: str
    needs: tuple[str, ...] = ()
    instead: str = CANNOT
    better: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Missing:
    """One answer the log can't give in full: the columns it wants (table.column), and what is given instead."""

    answer: str
    columns: tuple[str, ...]
    instead: str


NEEDS = (
    Need("failure rates by component", (FAULT,)),
    Need("failure rates by compressor type", (FAULT, "equipment.compressor_type"), "rates of all types together"),
    Need("failure rates by model family", (FAULT, "equipment.model_family"), "rates of all models together"),
    Need("failure rates by building", (FAULT, "equipment.building"), "rates of all buildings together"),
    Need("failure rates by age of the unit", (FAULT, "equipment.installed_on"), "rates of old and new units together"),
    Need(
        "time at risk: how many units ran, and how long",
        better=(
            ("equipment.equipment_id", "units never visited are missing, so rates read high"),
            ("equipment.retired_on", "units taken out without a word still count as in service"),
            ("coverage.from_date", "the log is taken as kept from its first to its last call"),
            ("occupancy.vacant_from", "vacant homes count as if their units ran"),
        ),
    ),
    Need(
        "how long parts last, who wears out and who dies young", ("parts_used.component",),
        better=(
            ("parts_used.why", "a part changed in time can't be told from one that failed, unless the finding says so"),
            ("equipment.installed_on", "lives of the parts a unit came with begin at an unknown age"),
        ),
    ),
    Need(
        "capacitor drift: when each capacitor leaves tolerance", (READ, "readings.component", RATED),
        better=(
            ("readings.stage", "every reading is taken as found, not as left or new"),
            ("equipment.tolerance_pct", "a tolerance of 6 percent is taken for all"),
            ("parts_used.component", "a new capacitor is told only by a jump in the readings"),
        ),
    ),
    Need("which meter reads high or low", (READ, "readings.component", "readings.meter", RATED)),
    Need(
        "call-backs: how many calls come back within the window",
        better=(
            ("visits.call_type", "spring rounds and turnovers count as calls"),
            ("visits.outcome", "a visit that waits for a part counts as a call-back when it is finished"),
        ),
    ),
    Need("call-backs by what was found", ("visits.finding",), "call-backs of all calls together"),
    Need("call-backs by technician", ("visits.technician",), "call-backs of all calls together"),
    Need("call-backs by outside firm", ("visits.vendor",), "call-backs of all calls together"),
    Need(
        "units that keep failing", (FAULT,),
        better=(("equipment.model_family", "a unit is compared with all others, not with its kind"),),
    ),
    Need("clusters: buildings and weeks with too many failures", (FAULT, "equipment.building")),
    Need("bad lots of parts", ("parts_used.component", "parts_used.lot")),
    Need("how calls follow the weather", ("weather.high_f | weather.high_c", "weather.low_f | weather.low_c"),
        "calls by month, without degree days"),
    Need(
        "night and weekend calls", ("visits.after_hours | visits.reported_at",),
        better=(
            ("visits.after_hours", "night calls are worked out from the time of the call, where it has one"),
            ("properties.hours_from", "working hours are taken as mon-fri 8:00-17:00"),
        ),
    ),
    Need("hours without cooling", ("visits.finished_at", "visits.outcome", "visits.call_type")),
    Need("homes where heat is a danger, first", ("equipment.priority_home",), "no home comes before another"),
    Need("where the money went: labor", ("visits.labor_cost",), "no labor money",
        (("visits.labor_minutes", "visits without a labor cost can't be estimated"),)),
    Need("where the money went: parts", ("parts_used.unit_cost",), "no money for parts"),
    Need("where the money went: refrigerant", ("visits.refrigerant_cost",), "no money for refrigerant"),
    Need("where the money went: trips and other", ("visits.other_cost",), "no other money"),
    Need("where the money went: money got back", ("parts_used.credit",), "only negative money counts as got back"),
    Need("costs by cause", ("visits.finding",), "all costs stand under 'not recorded'"),
    Need("costs by building", ("equipment.building",), "costs of all buildings together"),
    Need(
        "parts forecast for next summer", (FAULT,),
        better=(
            ("parts_used.component", "each failure of a part is taken to need one piece"),
            ("parts_used.part_no | catalogue.part_no", "needs stand under 'part number unknown'"),
            ("parts_used.why", "needs aren't told apart as failed, weak and preventive"),
            ("equipment.installed_on", "the age of units isn't taken into account"),
            ("weather.high_f | weather.high_c", "hot and mild summers can't be told apart"),
        ),
    ),
    Need("refrigerant forecast for next summer", ("visits.refrigerant_added_oz",)),
    Need("which part fits which unit", ("catalogue.part_no", "catalogue.fits | catalogue.herm_uf"),
        "the part last fitted in a unit or its family is taken to fit it"),
    Need(
        "what to order, and what it costs", (FAULT, "catalogue.unit_cost | parts_used.unit_cost"),
        "pieces to order, without money",
        (
            ("catalogue.unit_cost", "the last price paid is taken"),
            ("stock.on_hand", "every shelf is taken as empty"),
            ("stock.on_order", "nothing is taken as on order"),
            ("catalogue.pack_size", "parts are taken as sold singly"),
        ),
    ),
    Need("the day to order by", ("catalogue.lead_time_days",), "no last day to order by"),
    Need("which building's shelf a part belongs on", ("equipment.building",), "everything in the shop",
        (("buildings.has_shelf", "every building is taken to have a shelf"),)),
    Need("the walk from building to building", ("buildings.walk_order",), "buildings in order of their number or name"),
    Need("how far to trust a forecast made on an earlier day",
        better=(("visits.recorded_at", "a visit counts as known when it was finished, else reported"),)),
)  # fmt: skip
"""Every answer the tool gives, in a manager's, a tech's or an owner's words."""

_SHEET_PARTS = {
    "part_no": "part_no", "part_component": "component", "part_quantity": "quantity", "part_cost": "unit_cost",
    "part_why": "why", "part_lot": "lot",
}  # fmt: skip


def what_is_missing(present: Mapping[str, Collection[str]], *, is_read: bool = False) -> tuple[Missing, ...]:
    """Say which answers a log can't give in full, for want of which columns, and what it gives instead.

    Parameters
    ----------
    present : mapping of table name to its columns
        Columns that hold at least one value; those of a visits sheet stand under visits.
    is_read : bool
        Whether the columns were found in records that have been read. There the catalogue has named the components
        of the parts whose numbers it has; before that, having part numbers on both sides promises as much.

    Returns
    -------
    tuple of Missing
        In the order of `NEEDS`; an answer that only lacks what would make it better comes once for each such column.
    """
    there = {place for table, columns in present.items() for column in columns for place in _places(table, column)}
    if not is_read and there >= NAMED_BY_CATALOGUE:
        there.add("parts_used.component")
    found = []
    for need in NEEDS:
        wanting = tuple(name for name in need.needs if not _given(name, there))
        if wanting:
            found.append(Missing(need.answer, tuple(_first(name) for name in wanting), need.instead))
        else:
            found += [Missing(need.answer, (_first(n),), instead) for n, instead in need.better if not _given(n, there)]
    return tuple(found)


def made_possible_by(table: str, column: str) -> tuple[str, ...]:
    """Return the answers a column makes possible or better, those that can't do without it first."""
    places = set(_places(table, column))
    needed = [need.answer for need in NEEDS if any(places & set(_names(name)) for name in need.needs)]
    better = [need.answer for need in NEEDS if any(places & set(_names(name)) for name, _ in need.better)]
    return tuple(dict.fromkeys((*needed, *better)))


def _places(table: str, column: str) -> list[str]:
    """Return what a column counts as: those of a visits sheet are readings, parts and equipment too."""
    places = [f"{table}.{column}"]
    if table != "visits":
        return places
    if column in _SHEET_PARTS:
        places.append(f"parts_used.{_SHEET_PARTS[column]}")
    elif column == "meter":
        places.append("readings.meter")
    elif column in _READ_IN_SHEETS:
        places += ["readings.value", "readings.component", "readings.stage"]
    elif column != "equipment_id" and any(column == own.name for own in EQUIPMENT.columns):
        places.append(f"equipment.{column}")
    return places


_READ_IN_SHEETS = frozenset(f"{section}_{stage}_uf" for section in SECTIONS for stage in STAGES)


def _names(name: str) -> list[str]:
    return [part.strip() for part in name.split("|")]


def _first(name: str) -> str:
    return _names(name)[0]


def _given(name: str, there: Collection[str]) -> bool:
    return any(part in there for part in _names(name))
