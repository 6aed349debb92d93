"""The bench: visits in the making, and readings with each meter's bias and noise."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from demo_fleet import Dice, Unit
from demo_settings import METER_BIAS, NO_FAULT, NOISE_PCT, RUNNING_NOISE_PCT, SEED
from demo_world import World

Row = dict[str, str]


@dataclass(slots=True, kw_only=True)
class Task:
    """Something that brings somebody to a unit: a call, a return, a spring round, a turnover."""

    slot: int
    component: int = NO_FAULT
    kind: str = "call"  # call, follow-up, callback, round, turnover, program
    part_ordered: bool = False
    mended: bool = False  # a callback where the part itself is already new
    chain: int = -1
    campaign: bool = False
    new_unit: bool = False  # a follow-up that sets a whole new unit


@dataclass(slots=True, kw_only=True)
class Visit:
    """One visit in the making, with what is true about it and nobody wrote down."""

    key: int
    task: Task
    unit: Unit
    reported: datetime
    row: Row
    technician: str = ""
    vendor: str = ""
    after_hours: bool = False
    weekend_day: bool = False
    meter: str = ""
    minutes: int = 0
    truth: dict[str, str] = field(default_factory=dict)


class Bench:
    """Measures capacitors the way the technicians do, and keeps the readings."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.dice = Dice(SEED, 4)
        self.readings: list[tuple[int, Row]] = []

    def measure(self, visit: Visit, component: str, stage: str, true_uf: float, *, running: bool = False) -> float:
        """Write one reading with its meter's bias and noise, and return it."""
        dice = self.dice
        meter = "" if visit.vendor else visit.meter
        noise = RUNNING_NOISE_PCT if running else NOISE_PCT
        value = true_uf * (1 + (METER_BIAS.get(meter, 0.0) + dice.normal(0.0, noise)) / 100)
        digits = 0 if component == "start" else 1 if true_uf >= 10 else 2
        row: Row = {"component": component, "stage": stage, "meter": meter if dice.chance(0.93) else ""}
        if running:
            volts = round(dice.normal(345, 9))
            amps = round(value * 1e-6 * 2 * 3.14159265 * 60 * volts, 2)
            row |= {"method": "running", "volts": str(volts), "amps": f"{amps:.2f}", "hertz": "60"}
            value = amps * 1e6 / (2 * 3.14159265 * 60 * volts)
        else:
            row |= {"value": f"{value:.{digits}f}", "method": "bench" if dice.chance(0.5) else ""}
            row["unit"] = dice.pick_weighted((("", 0.6), ("uF", 0.25), ("MFD", 0.15)))
            value = round(value, digits)
        self.readings.append((visit.key, row))
        return value

    def sections(self, visit: Visit) -> list[tuple[str, int, float]]:
        """Return the capacitor sections this unit has: name, index, rated microfarads."""
        return [(n, i, r) for n, i, r in zip(("herm", "fan"), (0, 1), visit.unit.rating, strict=True) if r]

    def measure_capacitor(self, visit: Visit, stage: str, *, dead: int | None = None) -> float:
        """Measure every section and return the lowest deviation read, percent (a dead section doesn't count)."""
        dice, lowest = self.dice, 99.0
        deviation = self.world.deviation[visit.task.slot]
        for name, i, rated in self.sections(visit):
            if i == dead:
                left = 0.0 if dice.chance(0.5) else dice.between(0.35, 0.86)
                self.measure(visit, name, stage, rated * left)
            elif dice.chance(0.97 if stage == "found" else 0.9):
                running = stage == "found" and dead is None and name == "herm" and dice.chance(0.08)
                read = self.measure(visit, name, stage, rated * (1 + float(deviation[i]) / 100), running=running)
                lowest = min(lowest, 100 * (read / rated - 1))
        return lowest

    def measure_start(self, visit: Visit, stage: str, *, dead: bool = False) -> None:
        """Measure the start capacitor of the kit."""
        low, high = visit.unit.start_range
        level = self.dice.pick((0.0, 0.3, 0.55, 0.7)) if dead else self.dice.between(0.3, 0.8)
        true = low * level if dead else low + (high - low) * level
        self.measure(visit, "start", stage, true)
