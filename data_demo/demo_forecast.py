"""The true forecast: the world lived on through 2026 many times, with weather years drawn from the record."""

from __future__ import annotations

import copy
from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from demo_fleet import DAYS, Dice, day_index
from demo_parts import part_for
from demo_settings import (
    CAPACITOR,
    COMPONENTS,
    COMPRESSOR,
    CONTACTOR,
    FILTER,
    LOG_FROM,
    LOG_TO,
    MEASURED,
    METER_BIAS,
    NAMES,
    NO_FAULT,
    NOISE_PCT,
    SEED,
    TECHNICIANS,
    VACANT_RUN,
    WEATHER_FROM,
)
from demo_world import World, unit_goes

RUNS = 200
SEASON_FROM, SEASON_TO = date(2026, 4, 1), date(2026, 9, 30)
ROUND_SHARE_NEXT = 0.50
TURNOVERS_A_WEEK = 1.3


def weeks(weather_year: int) -> list[tuple[date, int, int]]:
    """Return January to September 2026 as (first day, days, past day whose weather is used); 1 April begins a step."""
    steps = []
    start = date(2026, 1, 1)
    while start <= SEASON_TO:
        wall = SEASON_FROM - timedelta(days=1) if start < SEASON_FROM else SEASON_TO
        end = min(start + timedelta(days=6), wall)
        steps.append((start, (end - start).days + 1, day_index(date(weather_year, start.month, start.day))))
        start = end + timedelta(days=1)
    return steps


class FutureWorld:
    """One run of the season: failures by component, pieces fitted by part number and reason."""

    def __init__(self, world: World, dice: Dice) -> None:
        future = copy.copy(world)
        future.dice = dice
        for name in ("age", "factor", "deviation", "slope", "bad_until", "busy_until", "removed", "kit_fitted"):
            setattr(future, name, getattr(world, name).copy())
        since = day_index(LOG_FROM)
        vacant = float(world.vacant[:, since:].mean())
        future.vacant = np.zeros((len(world.units), DAYS), dtype=bool)
        future.factor *= 1 - vacant * (1 - VACANT_RUN)
        self.world, self.dice = future, dice
        self.failed: Counter[str] = Counter()
        self.pieces: Counter[tuple[str, str, str]] = Counter()
        self.counting = False
        self.round_week = np.floor(9 + 13 * dice.rng.random(len(world.units)))
        self.round_week[dice.rng.random(len(world.units)) > ROUND_SHARE_NEXT] = -1

    def count_piece(self, slot: int, component: int, day: date, why: str) -> None:
        """Count one piece fitted, when the season has begun."""
        if self.counting:
            part_no = part_for(self.world.units[slot], component, day) or "part number unknown"
            self.pieces[part_no, NAMES[component], why] += 1

    def measured_low(self, slot: int, day: date) -> None:
        """Measure the capacitor as one of the technicians would, and change it by that technician's rule."""
        unit = self.world.units[slot]
        name = self.dice.pick_weighted([(n, t.share[unit.place]) for n, t in TECHNICIANS.items()])
        bias = METER_BIAS[TECHNICIANS[name].meter if self.dice.chance(0.55) else self.dice.pick(tuple(METER_BIAS))]
        sections = self.world.deviation[slot, : 2 if unit.rating[1] else 1]
        lowest = min(float(d) + bias + self.dice.normal(0, NOISE_PCT) for d in sections)
        if lowest <= TECHNICIANS[name].changes_below and self.dice.chance(0.92):
            self.count_piece(slot, CAPACITOR, day, "weak")
            self.world.renew(slot, CAPACITOR)

    def fail(self, slot: int, component: int, day: date) -> None:
        """Count one failure and what its repair takes."""
        unit, dice = self.world.units[slot], self.dice
        if component == NO_FAULT:
            return
        self.failed[NAMES[component]] += self.counting
        if dice.chance(unit_goes(unit, component, day)):
            if self.counting:
                self.pieces[f"WU-{round(unit.tons * 10)}", "whole unit", "failed"] += 1
        elif dice.chance(COMPONENTS[component].part_share):
            self.count_piece(slot, component, day, "failed")
            if dice.chance(0.015):  # the work comes back and takes another piece
                self.count_piece(slot, component, day, "failed")
        self.world.renew(slot, component)
        if component not in (CAPACITOR, COMPRESSOR) and dice.chance(0.8 * MEASURED.get(NAMES[component], 0.1)):
            self.measured_low(slot, day)

    def visit_planned(self, slot: int, day: date, *, filters: float, measured: float) -> None:
        """Do a spring round or a turnover check."""
        if self.dice.chance(measured):
            self.measured_low(slot, day)
        if self.dice.chance(filters):
            self.count_piece(slot, FILTER, day, "preventive")
        if measured > 0.5 and self.dice.chance(0.02):
            self.count_piece(slot, CONTACTOR, day, "preventive")
            self.world.renew(slot, CONTACTOR)

    def live(self, weather_year: int) -> None:
        """Live from January to September 2026 under one past year's weather."""
        for number, (start, days, past) in enumerate(weeks(weather_year)):
            self.counting = start >= SEASON_FROM
            chance = self.world.advance(day_index(start), days, past)
            for slot, component in self.world.failures(chance):
                self.fail(int(slot), int(component), start)
            for slot in np.flatnonzero(self.round_week == number):
                if not self.world.removed[slot]:
                    self.visit_planned(int(slot), start, filters=0.45, measured=0.92)
            for _ in range(int(self.dice.rng.poisson(TURNOVERS_A_WEEK))):
                slot = int(self.dice.unit() * len(self.world.units))
                self.visit_planned(slot, start, filters=0.6, measured=0.3)


def summarize(values: Sequence[int]) -> dict[str, float]:
    """Return the mean and the 5 and 95 percent points of counts."""
    low, high = np.quantile(np.array(values), [0.05, 0.95], method="inverted_cdf")
    return {"mean": round(float(np.mean(values)), 2), "q05": int(low), "q95": int(high)}


def true_forecast(world: World) -> dict[str, object]:
    """Return the season's failures by component and pieces by part number, over weather years from the record."""
    dice = Dice(SEED, 10)
    years = list(range(WEATHER_FROM.year, LOG_TO.year + 1))
    runs = []
    for _ in range(RUNS):
        run = FutureWorld(world, dice)
        run.live(dice.pick(years))
        runs.append(run)
    parts = sorted({key[0] for run in runs for key in run.pieces})
    by_part = {p: [sum(n for k, n in run.pieces.items() if k[0] == p) for run in runs] for p in parts}
    whys = ("failed", "weak", "preventive")
    by_why = {w: [sum(n for k, n in run.pieces.items() if k[2] == w) for run in runs] for w in whys}
    return {
        "season": [f"{SEASON_FROM}", f"{SEASON_TO}"],
        "runs": RUNS,
        "weather_years": years,
        "round_share": ROUND_SHARE_NEXT,
        "failures": {name: summarize([run.failed[name] for run in runs]) for name in NAMES if name != "no fault found"},
        "failures_all": summarize([sum(run.failed.values()) for run in runs]),
        "pieces": {p: summarize(values) for p, values in by_part.items()},
        "pieces_by_why": {w: summarize(values) for w, values in by_why.items()},
        "pieces_all": summarize([sum(run.pieces.values()) for run in runs]),
    }
