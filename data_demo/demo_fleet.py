"""The invented place: its weather, buildings, condensing units and vacancies, drawn from one seed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import log, sqrt
from typing import TypeVar

import numpy as np
import numpy.typing as npt
from demo_settings import (
    COMPONENTS,
    FAMILIES,
    LOG_FROM,
    LOG_TO,
    PROPERTIES,
    START_RANGE,
    SUMMER_ANOMALY_F,
    WORLD_FROM,
)

T = TypeVar("T")
Floats = npt.NDArray[np.float64]
DAYS = (LOG_TO - WORLD_FROM).days + 1


class Dice:
    """One seeded stream of chance, drawn with the generator's plainest calls so that it repeats everywhere."""

    def __init__(self, seed: int, stream: int) -> None:
        self.rng = np.random.default_rng([seed, stream])

    def unit(self) -> float:
        """Return one uniform number in [0, 1)."""
        return float(self.rng.random())

    def chance(self, probability: float) -> bool:
        """Return yes with the given probability."""
        return self.unit() < probability

    def between(self, low: float, high: float) -> float:
        """Return one uniform number between two limits."""
        return low + (high - low) * self.unit()

    def whole(self, low: int, high: int) -> int:
        """Return one whole number from low to high, both included."""
        return low + int(self.unit() * (high - low + 1))

    def pick(self, items: Sequence[T]) -> T:
        """Return one item, all equally likely."""
        return items[int(self.unit() * len(items))]

    def pick_weighted(self, items: Sequence[tuple[T, float]]) -> T:
        """Return one item with the chance its weight gives it."""
        left = self.unit() * sum(weight for _, weight in items)
        for item, weight in items:
            left -= weight
            if left < 0:
                return item
        return items[-1][0]

    def normal(self, mean: float, sd: float) -> float:
        """Return one normal number."""
        return mean + sd * float(self.rng.standard_normal())

    def lognormal(self, median: float, sigma: float) -> float:
        """Return one lognormal number of the given median."""
        return median * float(np.exp(sigma * self.rng.standard_normal()))


def day_index(day: date) -> int:
    """Return a date's place in every day-long array (0 is the world's first day)."""
    return (day - WORLD_FROM).days


def day_of(index: int) -> date:
    """Return the date at a place in the day-long arrays."""
    return WORLD_FROM + timedelta(days=int(index))


@dataclass(frozen=True, slots=True)
class Weather:
    """Daily highs and lows in whole degrees Fahrenheit, (property, day)."""

    high: npt.NDArray[np.int64]
    low: npt.NDArray[np.int64]

    def heat(self) -> Floats:
        """Return how much heat each day carries, (property, day); 1 is the average day of the whole record."""
        cooling = np.maximum(0.0, (self.high + self.low) / 2 - 65.0)
        raw = cooling**1.15 + 0.6 * np.maximum(0, self.high - 100)
        return np.asarray(raw / raw.mean(axis=1, keepdims=True), dtype=np.float64)

    def startup(self) -> Floats:
        """Return 1 on the days of first use in spring (degree days since 1 February between 40 and 150), else 0."""
        cooling = np.maximum(0.0, (self.high + self.low) / 2 - 65.0)
        flags = np.zeros(cooling.shape)
        for year in range(WORLD_FROM.year, LOG_TO.year + 1):
            first, last = day_index(date(year, 2, 1)), day_index(date(year, 6, 30))
            total = cooling[:, first:last].cumsum(axis=1)
            flags[:, first:last] = (total > 40) & (total < 150)
        return flags


def draw_weather(dice: Dice) -> Weather:
    """Draw a hot-summer inland climate: seasonal mean, summers of their own, and days that hang together."""
    days = [day_of(i) for i in range(DAYS)]
    year_day = np.array([d.timetuple().tm_yday for d in days], dtype=np.float64)
    season = np.cos(2 * np.pi * (year_day - 198) / 365.25)
    anomaly = np.array([SUMMER_ANOMALY_F[d.year] for d in days]) * np.clip(0.35 + 0.65 * season, 0, 1)
    noise, shared = 0.0, np.empty(DAYS)
    steps = dice.rng.standard_normal(DAYS)
    for i in range(DAYS):
        noise = 0.74 * noise + steps[i] * (4.2 - 1.5 * season[i])
        shared[i] = noise
    high, low = [], []
    for k in range(len(PROPERTIES)):
        own = 1.1 * dice.rng.standard_normal(DAYS)
        top = 78.0 + 21.5 * season + anomaly + shared * 0.8 + own + (0.0, 1.3)[k]
        spread = 25.0 + 2.0 * season + 2.5 * dice.rng.standard_normal(DAYS) + (0.0, 1.8)[k]
        high.append(np.rint(top))
        low.append(np.rint(top - np.maximum(spread, 9.0)))
    return Weather(np.array(high, dtype=np.int64), np.array(low, dtype=np.int64))


def component_weights(weather: Weather) -> tuple[Floats, Floats]:
    """Return the daily ageing and hazard weights, each (property, day, component); the average ageing weight is 1."""
    share = np.array([c.heat_share for c in COMPONENTS])
    bump = np.array([c.startup for c in COMPONENTS])
    ageing = (1 - share) + share * weather.heat()[:, :, None]
    return ageing, ageing + bump * weather.startup()[:, :, None]


@dataclass(slots=True, kw_only=True)
class Unit:
    """One condensing unit as it stands (attributes that belong to the unit, not to its parts)."""

    tag: str
    place: int  # property number
    building: str
    apartment: str
    family: str
    size: str
    installed: date
    retired: date | None = None
    kit: bool = False  # rated on the data plate list
    priority: bool = False
    install_known: bool = True
    warranty_years: int = 5
    in_table: bool = True
    retired_written: bool = True
    lemon: float = 1.0

    @property
    def rating(self) -> tuple[float, float]:
        """Rated microfarads of the compressor and fan sections (0 for none)."""
        _, herm, fan = FAMILIES[self.family].sizes[self.size]
        return herm, fan

    @property
    def tons(self) -> float:
        """Nominal tons."""
        return FAMILIES[self.family].sizes[self.size][0]

    @property
    def start_range(self) -> tuple[int, int]:
        """Marked range of the start capacitor that suits this size."""
        return START_RANGE[self.size]

    @property
    def age_years(self) -> float:
        """Age at the end of the log, years."""
        return (LOG_TO - self.installed).days / 365.25


SIZE_SHARE = {"018": 0.28, "024": 0.52, "030": 0.20}


def draw_size(dice: Dice, family: str) -> str:
    """Draw a size the family is made in."""
    return dice.pick_weighted([(size, SIZE_SHARE[size]) for size in FAMILIES[family].sizes])


def draw_unit(
    dice: Dice, place: int, building: str, apartment: str, mix: Sequence[tuple[str, int, int, float]]
) -> Unit:
    """Draw the unit that served an apartment when the log began."""
    prop = PROPERTIES[place]
    family, first, last, _ = dice.pick_weighted([(row, row[3]) for row in mix])
    installed = date(dice.whole(first, last), 1, 1) + timedelta(days=dice.whole(20, 330))
    return Unit(
        tag=f"{prop.prefix}{int(building):02d}-{apartment}",
        place=place,
        building=building,
        apartment=apartment,
        family=family,
        size=draw_size(dice, family),
        installed=installed,
        kit=dice.chance(FAMILIES[family].kit_share),
        priority=dice.chance(0.07),
        install_known=not dice.chance(0.22 if installed.year < 2013 else 0.04),
        warranty_years=10 if installed.year >= 2016 and dice.chance(0.5) else 5,
    )


def draw_units(dice: Dice) -> list[Unit]:
    """Draw every apartment's unit, in walking order."""
    units = []
    for place, prop in enumerate(PROPERTIES):
        for building, count, mix in prop.buildings:
            half = (count + 1) // 2
            for i in range(count):
                apartment = f"{1 + i // half}{1 + i % half:02d}"
                units.append(draw_unit(dice, place, building, apartment, mix))
    return units


def earlier_units(dice: Dice, units: Sequence[Unit], count: int = 14) -> list[Unit]:
    """Draw units that stood at some of the tags before and were retired before the log began."""
    known = [u for u in units if u.installed.year >= 2015 and u.install_known]
    rows = []
    for i in range(count):
        unit = known[i * len(known) // count]
        family = dice.pick(("N5P", "K2R"))
        rows.append(
            Unit(
                tag=unit.tag,
                place=unit.place,
                building=unit.building,
                apartment=unit.apartment,
                family=family,
                size=draw_size(dice, family),
                installed=date(2004, 5, 3) + timedelta(days=dice.whole(0, 900)),
                retired=unit.installed - timedelta(days=1),
                install_known=dice.chance(0.7),
            )
        )
    return rows


def draw_vacancies(dice: Dice, units: Sequence[Unit]) -> list[list[tuple[date, date]]]:
    """Draw each apartment's vacant spells from late 2019 on, both days included."""
    spells: list[list[tuple[date, date]]] = []
    for _ in units:
        own = []
        day = date(2019, 10, 1) + timedelta(days=int(dice.between(0, 1100)))
        while day < LOG_TO - timedelta(days=20):
            end = min(LOG_TO, day + timedelta(days=int(min(dice.lognormal(24, 0.6), 150)) + 4))
            if end >= LOG_FROM:
                own.append((day, end))
            day = end + timedelta(days=365 + int(-log(1 - dice.unit()) * 900))
        spells.append(own)
    return spells


def lognormal_terms(mean: float, cv: float) -> tuple[float, float]:
    """Return the median and sigma of a lognormal law of the given mean and coefficient of variation."""
    variance = log(1 + cv * cv)
    return mean / sqrt(1 + cv * cv), sqrt(variance)
