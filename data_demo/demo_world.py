"""How the invented fleet ages and fails: part ages in heat-years, capacitor drift, daily failures."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import numpy.typing as npt
from demo_fleet import (
    DAYS,
    Dice,
    Floats,
    Unit,
    component_weights,
    day_index,
    day_of,
    draw_weather,
    lognormal_terms,
)
from demo_settings import (
    BAD_FAMILY,
    BAD_FAMILY_FACTORS,
    BAD_LOT_FACTOR,
    BAD_LOT_MONTHS,
    CAPACITOR,
    COMPONENTS,
    COMPRESSOR,
    DRIFT_HAZARD,
    DRIFT_KNEE,
    DRIFT_SECTION_SD,
    DRIFT_SLOPE_CV,
    DRIFT_SLOPE_MEAN,
    DRIFT_START_MEAN,
    DRIFT_START_SD,
    FAMILIES,
    HARD_START,
    LEMON_FACTORS,
    LEMONS,
    LOG_FROM,
    ROTARY_HARD_START_FACTOR,
    SEED,
    VACANT_RUN,
    WEAR,
)

SHAPE = np.array([c.shape for c in COMPONENTS])
SCALE = np.array([c.scale for c in COMPONENTS])


class World:
    """The fleet's true state on a day: every part's age, every capacitor's drift, who is vacant, and the weather."""

    def __init__(self, units: list[Unit], vacancies: Sequence[Sequence[tuple[date, date]]]) -> None:
        self.units = units
        self.dice = Dice(SEED, 3)
        self.weather = draw_weather(Dice(SEED, 1))
        self.ageing, self.hazard = component_weights(self.weather)
        self.place = np.array([u.place for u in units])
        count = len(units)
        self.installed_day = np.array([day_index(u.installed) for u in units])
        self.age = np.zeros((count, len(COMPONENTS)))
        self.factor = np.ones((count, len(COMPONENTS)))
        self.deviation = np.zeros((count, 2))
        self.slope = np.zeros((count, 2))
        self.bad_until = np.full(count, -1)
        self.busy_until = np.full(count, -1)
        self.removed = np.zeros(count, dtype=bool)
        self.kit_fitted = np.array([u.kit for u in units])
        self.vacant = np.zeros((count, DAYS), dtype=bool)
        for slot, spells in enumerate(vacancies):
            for start, end in spells:
                self.vacant[slot, max(0, day_index(start)) : day_index(end) + 1] = True
        for slot in range(count):
            self.start_unit(slot)

    def start_unit(self, slot: int) -> None:
        """Set a slot to a new unit's state: all parts new, and the factors its kind gives it."""
        unit = self.units[slot]
        self.age[slot] = 0.0
        factor = np.full(len(COMPONENTS), unit.lemon)
        if unit.family == BAD_FAMILY:
            for component, faster in BAD_FAMILY_FACTORS.items():
                factor[component] *= faster
        factor[HARD_START] *= ROTARY_HARD_START_FACTOR if FAMILIES[unit.family].kind == "rotary" else 1.0
        self.factor[slot] = factor
        self.kit_fitted[slot] = unit.kit
        self.installed_day[slot] = day_index(unit.installed)
        self.renew(slot, CAPACITOR)

    def renew(self, slot: int, component: int, bad_from: int | None = None) -> None:
        """Fit a new part: its age starts again, and a capacitor gets a start deviation and a slope of its own."""
        self.age[slot, component] = 0.0
        if component != CAPACITOR:
            return
        dice = self.dice
        median, sigma = lognormal_terms(DRIFT_SLOPE_MEAN, DRIFT_SLOPE_CV)
        slope = dice.lognormal(median, sigma)
        self.slope[slot] = slope, slope * dice.lognormal(1.0, DRIFT_SECTION_SD)
        for section in range(2):
            self.deviation[slot, section] = float(np.clip(dice.normal(DRIFT_START_MEAN, DRIFT_START_SD), -4.5, 4.5))
        self.bad_until[slot] = -1 if bad_from is None else bad_from + round(BAD_LOT_MONTHS * 30.4375)

    def running(self, day: int) -> Floats:
        """Return how much each slot's unit runs that day: 1 occupied, little when vacant, 0 when there is none."""
        run = np.where(self.vacant[:, day], VACANT_RUN, 1.0)
        run[self.removed | (self.installed_day > day)] = 0.0
        return run

    def advance(self, day: int, days: int = 1, weight_day: int | None = None) -> Floats:
        """Age the fleet over some days from `day` on and return each part's chance of failing in them."""
        first = day if weight_day is None else weight_day
        span = slice(first, first + days)
        ageing = self.ageing[:, span].mean(axis=1)[self.place]
        hazard = self.hazard[:, span].mean(axis=1)[self.place]
        run = self.running(min(day, DAYS - 1))[:, None] * (days / 365.25)
        rate = self.factor / SCALE
        wear = slice(0, WEAR)
        rate[:, wear] *= SHAPE[wear] * (self.age[:, wear] / SCALE[wear]) ** (SHAPE[wear] - 1)
        low = self.deviation.min(axis=1)
        rate[:, CAPACITOR] *= np.exp(DRIFT_HAZARD * np.maximum(0.0, DRIFT_KNEE - low))
        rate[:, CAPACITOR] *= np.where(self.bad_until >= day, BAD_LOT_FACTOR, 1.0)
        rate[:, HARD_START] *= self.kit_fitted
        self.age += self.factor * ageing * run
        self.deviation -= self.slope * ageing[:, [CAPACITOR]] * run
        chance = 1.0 - np.exp(-rate * hazard * run)
        chance[self.busy_until >= day] = 0.0
        return np.asarray(chance, dtype=np.float64)

    def failures(self, chance: Floats) -> npt.NDArray[np.intp]:
        """Draw which (slot, component) fail, at most one a slot."""
        hits = np.argwhere(self.dice.rng.random(chance.shape) < chance)
        if len(hits) == 0:
            return hits
        _, first = np.unique(hits[:, 0], return_index=True)
        return hits[first]

    def live_through_the_past(self) -> None:
        """Age the fleet week by week from 2004 to the log's first day; what failed then is mended and forgotten."""
        last = day_index(LOG_FROM)
        for day in range(0, last, 7):
            days = min(7, last - day)
            chance = self.advance(day, days)
            chance[self.vacant[:, day]] = 0.0
            for slot, component in self.failures(chance):
                self.renew(int(slot), int(component))
            if day_of(day).month == 4 and day_of(day).day <= 7:
                self.early_spring_round()

    def early_spring_round(self) -> None:
        """Change low capacitors the way it was done before the log was kept."""
        seen = self.dice.rng.random(len(self.units)) < 0.4
        reading = self.deviation.min(axis=1) + self.dice.rng.standard_normal(len(self.units))
        for slot in np.flatnonzero(seen & (reading < -6.5)):
            self.renew(int(slot), CAPACITOR)


def choose_lemons(dice: Dice, units: Sequence[Unit]) -> list[int]:
    """Pick the units that keep failing: plain families, known to the log throughout, in different buildings."""
    used: set[tuple[int, str]] = set()
    slots: list[int] = []
    while len(slots) < LEMONS:
        slot = int(dice.unit() * len(units))
        unit = units[slot]
        key = (unit.place, unit.building)
        plain = unit.family in ("K4R", "L1S", "P2S", "R6R") and key not in used and (key != (0, "7"))
        if plain and unit.building not in ("12",):
            used.add(key)
            slots.append(slot)
            unit.lemon = round(dice.between(*LEMON_FACTORS), 1)
            unit.kit = unit.kit or len(slots) % 3 == 0
    return sorted(slots)


def unit_goes(unit: Unit, component: int, on: date) -> float:
    """Return the chance that a failure of this component ends in a new unit rather than a repair."""
    age = (on - unit.installed).days / 365.25
    if unit.lemon > 1:
        return 0.0
    if component == COMPRESSOR and age > 11:
        return 0.75
    if COMPONENTS[component].name == "refrigerant leak" and FAMILIES[unit.family].refrigerant == "R-22" and age > 12:
        return 0.30
    return 0.0
