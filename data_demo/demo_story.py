"""Runs the invented years day by day and returns the log's tables as clean text rows, with the truth beside them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from demo_fleet import Dice, Unit, day_index, day_of, draw_units, draw_vacancies, earlier_units
from demo_parts import CATALOGUE_COLUMNS, CATALOGUE_ROWS, plain, shelf_stock
from demo_plans import plan_program, plan_rounds, plan_spell, plan_turnovers
from demo_settings import (
    FAMILIES,
    GAP_FROM,
    GAP_PROPERTY,
    GAP_TO,
    LOG_FROM,
    LOG_TO,
    NO_SHELF,
    PROPERTIES,
    REMOVED_UNITS,
    SEED,
    WEATHER_FROM,
)
from demo_visits import Office, Row, Task, Visit
from demo_world import World, choose_lemons

COLUMNS: dict[str, tuple[str, ...]] = {
    "visits": (
        "visit_id",
        "equipment_id",
        "reported_at",
        "arrived_at",
        "finished_at",
        "recorded_at",
        "call_type",
        "after_hours",
        "technician",
        "vendor",
        "finding",
        "outcome",
        "labor_minutes",
        "labor_cost",
        "refrigerant_added_oz",
        "refrigerant_cost",
        "other_cost",
        "indoor_f",
        "notes",
    ),
    "equipment": (
        "equipment_id",
        "property",
        "building",
        "apartment",
        "model",
        "model_family",
        "compressor_type",
        "tons",
        "refrigerant",
        "charge_oz",
        "installed_on",
        "retired_on",
        "herm_uf",
        "fan_uf",
        "tolerance_pct",
        "start_uf_min",
        "start_uf_max",
        "priority_home",
        "warranty_until",
    ),
    "readings": ("visit_id", "component", "stage", "value", "unit", "method", "volts", "amps", "hertz", "meter"),
    "parts_used": (
        "visit_id",
        "part_no",
        "component",
        "quantity",
        "unit_cost",
        "why",
        "warranty",
        "credit",
        "lot",
        "taken_from",
    ),
    "catalogue": CATALOGUE_COLUMNS,
    "stock": ("property", "location", "part_no", "on_hand", "on_order"),
    "weather": ("property", "date", "high_f", "low_f"),
    "coverage": ("property", "from_date", "to_date"),
    "properties": ("property", "hours_from", "hours_to", "workdays", "currency"),
    "buildings": ("property", "building", "walk_order", "x", "y", "has_shelf"),
    "occupancy": ("equipment_id", "vacant_from", "vacant_to"),
}


@dataclass(slots=True, kw_only=True)
class Story:
    """The whole invented log before dirt: tables of text rows, and the objects that know the truth."""

    world: World
    office: Office
    tables: dict[str, list[Row]]
    units: list[Unit]  # every unit that ever stood, in table order
    lemons: list[str]
    spell: list[tuple[str, str]]
    campaign: list[str]
    forgotten: dict[str, list[str]]  # replacements whose paper was left undone
    lost_in_gap: int
    visit_ids: dict[int, str]


def live(office: Office, plans: list[dict[int, list[Task]]]) -> None:
    """Run the log's years day by day."""
    world = office.world
    removed = {tag: day_index(day) for tag, day in REMOVED_UNITS}
    slots = {u.tag: s for s, u in enumerate(world.units)}
    dice = Dice(SEED, 6)
    for day in range(day_index(LOG_FROM), day_index(LOG_TO) + 1):
        for tag, last in removed.items():
            if day == last + 1:
                world.removed[slots[tag]] = True
                world.units[slots[tag]].retired = day_of(last)
        chance = world.advance(day)
        chance[world.vacant[:, day]] = 0.0
        tasks = office.later.pop(day, [])
        taken = {t.slot for t in tasks}
        tasks += [Task(slot=int(s), component=int(c)) for s, c in world.failures(chance) if int(s) not in taken]
        for plan in plans:
            planned = [
                t for t in plan.get(day, ()) if not world.removed[t.slot] and t.slot not in {x.slot for x in tasks}
            ]
            tasks += [t for t in planned if t.kind == "call" or world.busy_until[t.slot] < day]
        for task in tasks:
            if not world.removed[task.slot]:
                office.handle(task, day)
    rounds_by_hand(office, dice)


def rounds_by_hand(office: Office, dice: Dice) -> None:
    """Spread the spring rounds of one day over that day, one technician a building and day."""
    by_day: dict[tuple[date, int, str], list[Visit]] = {}
    for visit in office.visits:
        if visit.task.kind == "round":
            by_day.setdefault((visit.reported.date(), visit.unit.place, visit.unit.building), []).append(visit)
    for group in by_day.values():
        clock = datetime.combine(group[0].reported.date(), time(8, dice.whole(0, 20)))
        for visit in group:
            end = clock + timedelta(minutes=visit.minutes)
            visit.reported = clock
            visit.row |= {
                "reported_at": f"{clock:%Y-%m-%d %H:%M}",
                "arrived_at": f"{clock:%Y-%m-%d %H:%M}",
                "finished_at": f"{end:%Y-%m-%d %H:%M}",
                "after_hours": visit.row["after_hours"] and "no",
            }
            if "recorded_at" in visit.row:
                visit.row["recorded_at"] = f"{end + timedelta(days=dice.whole(0, 2), hours=2):%Y-%m-%d %H:%M}"
            clock = min(end, clock.replace(hour=15, minute=0)) + timedelta(minutes=dice.whole(3, 9))


def equipment_row(unit: Unit, dice: Dice) -> Row:
    """Write one unit's data plate as the office keeps it, with its gaps."""
    family = FAMILIES[unit.family]
    herm, fan = unit.rating
    known = unit.install_known
    warranty_end = date(unit.installed.year + unit.warranty_years, unit.installed.month, min(unit.installed.day, 28))
    low, high = unit.start_range
    return {
        "equipment_id": unit.tag,
        "property": PROPERTIES[unit.place].name,
        "building": unit.building,
        "apartment": unit.apartment,
        "model": f"{unit.family}{unit.size}-{'C' if family.new else 'A'}",
        "model_family": unit.family,
        "compressor_type": "" if dice.chance(0.03) else family.kind,
        "tons": plain(unit.tons),
        "refrigerant": family.refrigerant,
        "charge_oz": str(round(unit.tons * 36 + len(family.kind))),
        "installed_on": f"{unit.installed}" if known else "",
        "retired_on": f"{unit.retired}" if unit.retired and unit.retired_written else "",
        "herm_uf": plain(herm),
        "fan_uf": plain(fan) if fan else "",
        "tolerance_pct": "" if dice.chance(0.15) else family.tolerance,
        "start_uf_min": str(low) if unit.kit else "",
        "start_uf_max": str(high) if unit.kit else "",
        "priority_home": "yes" if unit.priority else ("no" if dice.chance(0.5) else ""),
        "warranty_until": f"{warranty_end}" if known and warranty_end.year >= 2018 else "",
    }


def visit_tables(office: Office) -> tuple[dict[int, str], dict[str, list[Row]], int]:
    """Return visits (numbered, without what the coverage gap lost), readings and parts as rows."""
    order = sorted(office.visits, key=lambda v: (v.reported, v.key))
    counts: Counter[int] = Counter()
    ids: dict[int, str] = {}
    rows: list[Row] = []
    lost = 0
    for visit in order:
        year = visit.reported.year
        counts[year] += 1
        visit_id = f"{year % 100}-{counts[year]:04d}"
        in_gap = PROPERTIES[visit.unit.place].name == GAP_PROPERTY and GAP_FROM <= visit.reported.date() <= GAP_TO
        if in_gap or visit.reported.date() > LOG_TO:
            lost += in_gap
            continue
        ids[visit.key] = visit_id
        rows.append({"visit_id": visit_id, **visit.row})
    place = {key: i for i, key in enumerate(ids)}

    def written(pairs: list[tuple[int, Row]]) -> list[Row]:
        kept = sorted((p for p in pairs if p[0] in ids), key=lambda p: place[p[0]])
        return [{"visit_id": ids[key], **row} for key, row in kept]

    return ids, {"visits": rows, "readings": written(office.readings), "parts_used": written(office.parts_used)}, lost


def small_tables(world: World, vacancies: list[list[tuple[date, date]]], dice: Dice) -> dict[str, list[Row]]:
    """Write weather, coverage, properties, buildings, occupancy, catalogue and stock."""
    tables: dict[str, list[Row]] = {"weather": [], "coverage": [], "properties": [], "buildings": [], "occupancy": []}
    for place, prop in enumerate(PROPERTIES):
        tables["weather"] += [
            {
                "property": prop.name,
                "date": f"{day_of(i)}",
                "high_f": str(world.weather.high[place, i]),
                "low_f": str(world.weather.low[place, i]),
            }
            for i in range(day_index(WEATHER_FROM), day_index(LOG_TO) + 1)
        ]
        spans = [(LOG_FROM, LOG_TO)]
        if prop.name == GAP_PROPERTY:
            spans = [(LOG_FROM, GAP_FROM - timedelta(days=1)), (GAP_TO + timedelta(days=1), LOG_TO)]
        tables["coverage"] += [{"property": prop.name, "from_date": f"{a}", "to_date": f"{b}"} for a, b in spans]
        tables["properties"].append(
            {
                "property": prop.name,
                "hours_from": prop.hours[0],
                "hours_to": prop.hours[1],
                "workdays": prop.workdays,
                "currency": "USD",
            }
        )
        for i, (building, _, _) in enumerate(prop.buildings):
            x, y = 38 * (i % 4) + dice.whole(-4, 4), 45 * (i // 4) + dice.whole(-5, 5)
            shelf = "no" if (prop.name, building) in NO_SHELF else "yes"
            tables["buildings"].append(
                {
                    "property": prop.name,
                    "building": building,
                    "walk_order": str(i + 1),
                    "x": str(x),
                    "y": str(y),
                    "has_shelf": shelf,
                }
            )
    for unit, spells in zip(world.units, vacancies, strict=True):
        for start, end in spells:
            tables["occupancy"].append(
                {
                    "equipment_id": unit.tag,
                    "vacant_from": f"{start.month}/{start.day}/{start.year}",
                    "vacant_to": f"{end.month}/{end.day}/{end.year}",
                }
            )
    tables["catalogue"] = [dict(row) for row in CATALOGUE_ROWS]
    tables["stock"] = shelf_stock(dice, world.units)
    return tables


def forget_some_replacements(units: list[Unit]) -> dict[str, list[str]]:
    """Leave the paperwork of some replacements undone: no retirement date, or no row for the new unit either."""
    replaced = [
        u
        for u in units
        if u.retired and u.retired >= LOG_FROM and any(n.tag == u.tag and n.installed > u.retired for n in units)
    ]
    forgotten: dict[str, list[str]] = {"no_retired_on": [], "no_row_for_new_unit": []}
    for i, unit in enumerate(replaced[::4][:5]):
        unit.retired_written = False
        kind = "no_row_for_new_unit" if i in (1, 3) else "no_retired_on"
        forgotten[kind].append(unit.tag)
        if kind == "no_row_for_new_unit":
            for new in units:
                new.in_table = new.in_table and not (new.tag == unit.tag and new.installed > (unit.retired or LOG_TO))
    return forgotten


def tell_story() -> Story:
    """Run the whole invented world and return its log and its truth."""
    fleet_dice = Dice(SEED, 2)
    units = draw_units(fleet_dice)
    lemon_slots = choose_lemons(fleet_dice, units)
    before = earlier_units(fleet_dice, units)
    vacancies = draw_vacancies(fleet_dice, units)
    lemons = [units[s].tag for s in lemon_slots]
    world = World(units, vacancies)
    world.live_through_the_past()
    office = Office(world)
    plan_dice = Dice(SEED, 7)
    spell = plan_spell(plan_dice, world)
    rounds = plan_rounds(plan_dice, world)
    plans = [spell, rounds, plan_turnovers(plan_dice, vacancies), plan_program(plan_dice, world)]
    live(office, plans)
    everyone = before + office.equipment_history + world.units
    everyone.sort(key=lambda u: (u.place, int(u.building), u.apartment, u.installed))
    forgotten = forget_some_replacements(everyone)
    ids, tables, lost = visit_tables(office)
    dice = Dice(SEED, 8)
    tables["equipment"] = [equipment_row(u, dice) for u in everyone if u.in_table]
    tables |= small_tables(world, vacancies, dice)
    return Story(
        world=world,
        office=office,
        tables={name: tables[name] for name in COLUMNS},
        units=everyone,
        lemons=lemons,
        spell=[(f"{day_of(d)}", world.units[t.slot].tag) for d, tasks in sorted(spell.items()) for t in tasks],
        campaign=[ids[v.key] for v in office.visits if v.task.campaign and v.task.kind == "round" and v.key in ids],
        forgotten=forgotten,
        lost_in_gap=lost,
        visit_ids=ids,
    )
