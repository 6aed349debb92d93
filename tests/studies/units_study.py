"""Do the judgements of units that keep failing reach their targets? Fleets in which the truly bad units are known.

Run ``python -m tests.studies.units_study --replicates 200`` from the repository's top; about four minutes.
Each line shows the reached number with its Monte-Carlo error, beside the target and what a list by the raw past rate
gives. Numbers 14 to 16 are the methods brief's targets; lines marked + are this study's own.
Truth: 600 units, 0.25 calls a year each, half a year to six years watched; 5 % call three or five times as often, or
units differ by one gamma law of variance 0.8, or not at all. Judged by `fleet.analysis.failing_law.place_units`, as
the answer ``units`` does; a unit is truly bad when its rate is over twice the fleet's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from fleet.analysis.failing_law import place_units
from fleet.analysis.units import BAD_TIMES
from tests.studies.reporting import Line, print_study

UNITS, BASE, BAD_SHARE, TOP = 600, 0.25, 0.05, 30
ALIKE = "all alike"


@dataclass
class World:
    """What one kind of fleet gave: one entry a fleet."""

    name: str
    forecast: list = field(default_factory=list)
    raw_forecast: list = field(default_factory=list)
    precise: list = field(default_factory=list)
    raw_precise: list = field(default_factory=list)
    listed: list = field(default_factory=list)
    wrong: list = field(default_factory=list)
    found: list = field(default_factory=list)
    counts_held: list = field(default_factory=list)
    gain_held: list = field(default_factory=list)
    gain: list = field(default_factory=list)


def truth_of(rng, name):
    """Draw each unit's factor over the base rate, and which are bad in the two-class sense."""
    if name.endswith("times"):
        bad = np.arange(UNITS) < round(BAD_SHARE * UNITS)
        return np.where(bad, 3.0 if name.startswith("three") else 5.0, 1.0), bad
    z = np.ones(UNITS) if name == ALIKE else rng.gamma(1 / 0.8, 0.8, UNITS)
    return z, np.zeros(UNITS, dtype=bool)


def judge_fleet(rng, world, *, gains=False):
    """Draw one fleet, judge it, and put what came of it down."""
    z, bad = truth_of(rng, world.name)
    years = rng.uniform(0.5, 6.0, UNITS)
    calls = rng.poisson(z * BASE * years).astype(np.float64)
    # what is usual adds up to the calls seen, as in the answer
    usual_rate = calls.sum() / years.sum()
    placed = place_units(calls, usual_rate * years)
    expected, p_bad, to_come = placed.mean() * usual_rate, placed.chance_above(BAD_TIMES), z * BASE
    top = np.argsort(-expected, kind="stable")[:TOP]
    by_rate = np.lexsort((rng.random(UNITS), -calls / years))[:TOP]
    world.forecast.append((expected[top].sum(), to_come[top].sum()))
    world.raw_forecast.append(((calls / years)[by_rate].sum(), to_come[by_rate].sum()))
    order = np.lexsort((rng.random(UNITS), -p_bad))
    if bad.any():
        world.precise.append(bad[order[:TOP]].mean())
        world.raw_precise.append(bad[by_rate].mean())
    truly = to_come > BAD_TIMES * usual_rate
    size = int((np.cumsum(1 - p_bad[order]) / np.arange(1, UNITS + 1) <= 0.30).sum())
    world.listed.append(size)
    world.wrong.append(int((~truly[order[:size]]).sum()))
    world.found.append(truly[order[:size]].sum() / max(truly.sum(), 1))
    if gains:
        judge_gains(rng, world, placed, usual_rate, to_come, top)


def judge_gains(rng, world, placed, usual_rate, to_come, top):
    """Put down how counts to come and calls avoided compare with the truth."""
    low, high = placed.count_limits(np.full(UNITS, usual_rate), 0.90)
    seen = rng.poisson(to_come)
    world.counts_held.append(((seen >= low) & (seen <= high)).mean())
    least, most = (np.maximum(placed.quantile(p) - 1.0, 0.0) * usual_rate for p in (0.05, 0.95))
    excess = np.maximum(to_come - usual_rate, 0.0)
    world.gain_held.append(((least <= excess) & (excess <= most)).mean())
    world.gain.append(((placed.mean_above(1.0) * usual_rate)[top].sum(), excess[top].sum()))


def ratio_line(item, pairs, band, naive=""):
    """Return the line of a ratio of sums over fleets, its error by the fleets' own ratios."""
    first, second = (np.array([pair[i] for pair in pairs]) for i in (0, 1))
    ratio = float(first.sum() / second.sum())
    error = float(np.std(first - ratio * second, ddof=1) / second.mean() / math.sqrt(len(pairs)))
    met = band[0] - error <= ratio <= band[1] + error
    return Line(item, ratio, error, f"{band[0]:g}-{band[1]:g}" if band[0] else f"<= {band[1]:g}", naive, met)


def mean_line(item, values, band, target, naive=""):
    """Return the line of a mean over fleets that has to lie in a band, give or take one Monte-Carlo error."""
    mean, error = float(np.mean(values)), float(np.std(values, ddof=1) / math.sqrt(len(values)))
    return Line(item, mean, error, target, naive, band[0] - error <= mean <= band[1] + error)


def report_world(world):
    """Return the lines of one kind of fleet."""
    raw = sum(pair[0] for pair in world.raw_forecast) / sum(pair[1] for pair in world.raw_forecast)
    band = (0.0, 1.2) if world.name == ALIKE else (0.93, 1.07)
    lines = [ratio_line(f"14 {world.name}: forecast over truth, top 5 %", world.forecast, band, f"raw {raw:.2f}")]
    if world.precise:
        least = 0.34 if world.name.startswith("three") else 0.58
        item, naive = f"15 {world.name}: truly bad among the first 30", f"raw {np.mean(world.raw_precise):.2f}"
        lines.append(mean_line(item, world.precise, (least, 1.0), f">= {least:g}", naive))
    if world.name == ALIKE:
        # no unit is truly bad here: what counts is that next to none is named
        lines.append(mean_line(f"+  {ALIKE}: units on the list at 0.30, of 600", world.listed, (0.0, 1.0), "<= 1"))
    elif sum(world.listed):
        pairs = list(zip(world.wrong, world.listed, strict=True))
        item = f"16 {world.name}: wrong on the list at 0.30 ({np.mean(world.listed):.1f} named)"
        lines.append(ratio_line(item, pairs, (0.0, 0.33)))
        lines.append(mean_line(f"+  {world.name}: of the truly bad, on that list", world.found, (0.0, 1.0), ""))
    return lines + (report_gains(world) if world.gain else [])


def report_gains(world):
    """Return the lines of counts to come and of calls that mending avoids."""
    counts, gained = "90 % interval holds the count to come", "90 % interval holds the calls mending avoids"
    return [
        mean_line(f"+  {world.name}: {counts}", world.counts_held, (0.90, 0.99), "0.90-0.99"),
        mean_line(f"+  {world.name}: {gained}", world.gain_held, (0.88, 1.0), ">= 0.88"),
        ratio_line(f"+  {world.name}: calls avoided, forecast over truth, top 5 %", world.gain, (0.85, 1.15)),
    ]


def run_study(replicates: int, seed: int = 20_262) -> list[Line]:
    """Run every part of the study."""
    rng = np.random.default_rng(seed)
    lines = []
    for name in ("three times", "five times", "one gamma law", ALIKE):
        world = World(name)
        for nth in range(replicates):
            judge_fleet(rng, world, gains=name != ALIKE and nth < max(2, replicates // 4))
        lines += report_world(world)
    return lines


if __name__ == "__main__":
    print_study(__doc__, run_study, seed=20_262)
