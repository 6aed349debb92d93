"""What is planned ahead: spring rounds, checks between residents, a winter change-out, and the spell of bad voltage."""

from __future__ import annotations

from datetime import date, timedelta

from demo_bench import Task
from demo_fleet import Dice, day_index
from demo_parts import capacitor_part
from demo_settings import (
    BAD_LOT_PART,
    CAMPAIGN_BUILDINGS,
    CAMPAIGN_PIECES,
    CAMPAIGN_YEAR,
    CONTACTOR,
    LOG_FROM,
    LOG_TO,
    PROGRAM_BUILDING,
    PROGRAM_FROM,
    PROGRAM_PROPERTY,
    PROGRAM_UNITS,
    PROPERTIES,
    ROUND_SHARE,
    SPELL_BUILDING,
    SPELL_EXTRA,
    SPELL_FROM,
    SPELL_PROPERTY,
    SPELL_TO,
)
from demo_world import World


def plan_rounds(dice: Dice, world: World) -> dict[int, list[Task]]:
    """Plan the spring rounds: buildings in walking order from March to May, a share of the units each year."""
    plan: dict[int, list[Task]] = {}
    slots: dict[tuple[int, str], list[int]] = {}
    for slot, unit in enumerate(world.units):
        slots.setdefault((unit.place, unit.building), []).append(slot)
    pieces = CAMPAIGN_PIECES
    for year, share in ROUND_SHARE.items():
        for order, (key, members) in enumerate(slots.items()):
            start = date(year, 3, 3) + timedelta(days=4 * order + dice.whole(0, 3))
            campaign_here = year == CAMPAIGN_YEAR and (PROPERTIES[key[0]].name, key[1]) in CAMPAIGN_BUILDINGS
            for place_in_line, slot in enumerate(members):
                suits = capacitor_part(world.units[slot], date(year, 4, 1)) == BAD_LOT_PART
                campaign = campaign_here and suits and pieces > 0 and world.units[slot].lemon == 1.0
                if not (campaign or dice.chance(share)):
                    continue
                pieces -= campaign
                day = start + timedelta(days=place_in_line // 9)
                day += timedelta(days=max(0, 7 - day.weekday()) if day.weekday() > 4 else 0)
                plan.setdefault(day_index(day), []).append(Task(slot=slot, kind="round", campaign=campaign))
    return plan


def plain_units(world: World, prop: str, building: str) -> list[int]:
    """Return a building's slots, without the units that keep failing."""
    key = (prop, building)
    return [s for s, u in enumerate(world.units) if (PROPERTIES[u.place].name, u.building) == key and u.lemon == 1.0]


def plan_spell(dice: Dice, world: World) -> dict[int, list[Task]]:
    """Plan the contactors that the spell of bad voltage takes."""
    members = plain_units(world, SPELL_PROPERTY, SPELL_BUILDING)
    plan: dict[int, list[Task]] = {}
    length = (SPELL_TO - SPELL_FROM).days - 1
    for i in range(SPELL_EXTRA):
        slot = members.pop(int(dice.unit() * len(members)))
        day = day_index(SPELL_FROM) + round(length * (i + dice.unit()) / SPELL_EXTRA)
        plan.setdefault(day, []).append(Task(slot=slot, component=CONTACTOR))
    return plan


def plan_turnovers(dice: Dice, vacancies: list[list[tuple[date, date]]]) -> dict[int, list[Task]]:
    """Plan a check of the unit before most vacancies end."""
    plan: dict[int, list[Task]] = {}
    for slot, spells in enumerate(vacancies):
        for start, end in spells:
            day = end - timedelta(days=dice.whole(1, 3))
            day -= timedelta(days=max(0, day.weekday() - 4))
            if LOG_FROM <= day <= LOG_TO and day > start and dice.chance(0.45):
                plan.setdefault(day_index(day), []).append(Task(slot=slot, kind="turnover"))
    return plan


def plan_program(dice: Dice, world: World) -> dict[int, list[Task]]:
    """Plan the winter change-out of the oldest units of one building."""
    members = plain_units(world, PROGRAM_PROPERTY, PROGRAM_BUILDING)
    oldest = sorted(members, key=lambda s: (world.units[s].installed, s))[:PROGRAM_UNITS]
    plan: dict[int, list[Task]] = {}
    for i, slot in enumerate(oldest):
        day = PROGRAM_FROM + timedelta(days=7 * (i // 2) + i % 2 + dice.whole(0, 1))
        plan.setdefault(day_index(day), []).append(Task(slot=slot, kind="program"))
    return plan
