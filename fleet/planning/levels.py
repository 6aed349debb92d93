"""How high each shelf should be filled: least cost, a service floor, a budget cap, by marginal analysis.

One more piece of a part on a shelf is worth what it saves. Its gain falls with every piece, so taking pieces in the
order of their gain gives the least cost, the least money for a service, or the most saved for a budget; only the last
piece of a budget can be off. Sources: marginal analysis, Sherbrooke, Optimal Inventory Modeling of Systems (2004), ch.
2; the newsvendor, Snyder and Shen, Fundamentals of Supply Chain Theory (2019), ch. 4.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Curves:
    """For each line and level the chance that one more piece is needed in a cycle.

    ``over`` has shape (lines, top): over[i, s] = P(need of line i in one cycle > s); ``cycle_mean`` are a cycle's
    expected needs, ``repeats`` how many cycles the season has (one, where nothing is refilled), ``mean`` the season's.
    """

    over: FloatArray
    cycle_mean: FloatArray
    repeats: FloatArray
    mean: FloatArray


def need_curves(draws: npt.NDArray[np.int32]) -> Curves:
    """Return the curves of one order for the whole season from drawn futures (futures, lines)."""
    mean = draws.mean(axis=0) if draws.size else np.zeros(draws.shape[1])
    return Curves(over=_over(draws), cycle_mean=mean, repeats=np.ones(draws.shape[1]), mean=mean)


def refill_curves(
    rng: np.random.Generator, draws: npt.NDArray[np.int32], *, lead_days: FloatArray, season_days: int, peak: float
) -> Curves:
    """Return the curves of shelves refilled piece by piece: a cycle is a lead time at the peak weeks' rate.

    Each future's season is thinned to a lead time, so what is unsure about the season stays unsure in the cycle.
    """
    share = np.minimum(lead_days * peak / season_days, 1.0)
    cycle = rng.binomial(draws, share[None, :]).astype(np.int32)
    repeats = np.maximum(season_days / np.maximum(lead_days, 1.0), 1.0) / peak
    mean = draws.mean(axis=0)
    return Curves(over=_over(cycle), cycle_mean=cycle.mean(axis=0), repeats=np.maximum(repeats, 1.0), mean=mean)


def _over(draws: npt.NDArray[np.int32]) -> FloatArray:
    n, lines = draws.shape
    top = int(draws.max(initial=0)) + 1
    over = np.zeros((lines, top))
    for line in range(lines):
        over[line] = 1.0 - np.cumsum(np.bincount(draws[:, line], minlength=top))[:top] / n
    return np.clip(over, 0.0, 1.0)


def expected_short(curves: Curves, level: FloatArray | IntArray) -> FloatArray:
    """Return the pieces each line is expected to be short over the season at these levels."""
    columns = np.arange(curves.over.shape[1])[None, :] >= np.floor(level)[:, None]
    short: FloatArray = (curves.over * columns).sum(axis=1) * curves.repeats
    return short


def expected_left(curves: Curves, level: FloatArray | IntArray) -> FloatArray:
    """Return the pieces each line is expected to have on the shelf at the season's end."""
    short_in_cycle = expected_short(curves, level) / curves.repeats
    left: FloatArray = np.asarray(level, dtype=np.float64) - curves.cycle_mean + short_in_cycle
    return left


def chance_short(curves: Curves, level: IntArray) -> FloatArray:
    """Return each line's chance that at least one need of the season isn't met (cycles taken as independent)."""
    chance: FloatArray = 1.0 - (1.0 - chance_of_more(curves, level)) ** curves.repeats
    return chance


def chance_of_more(curves: Curves, level: IntArray) -> FloatArray:
    """Return each line's chance that one cycle needs more than these levels."""
    lines, top = curves.over.shape
    return np.where(level >= top, 0.0, curves.over[np.arange(lines), np.minimum(level, top - 1)])


def cheapest_levels(curves: Curves, cost_short: FloatArray, cost_left: FloatArray, floor: IntArray) -> IntArray:
    """Return the least-cost level of each line: the smallest s >= floor with P(need <= s) >= Cs / (Cs + Cl)."""
    worth = cost_short * curves.repeats
    ratio = worth / (worth + cost_left)
    wanted = (curves.over > (1.0 - ratio)[:, None] + 1e-12).sum(axis=1)
    level: IntArray = np.maximum(wanted, floor)
    return level


def levels_for_service(
    curves: Curves, cost_short: FloatArray, cost_left: FloatArray, floor: IntArray, service: float
) -> IntArray:
    """Return the cheapest levels at which this share of the fleet's needs is met from the shelf.

    Bisection on the worth of a met need, then whole pieces back and forth at the last step.
    """
    level = cheapest_levels(curves, cost_short, cost_left, floor)
    if service_of(curves, level) >= service:
        return level
    low, high = _worth_of_met_need(curves, cost_short, cost_left, floor, service)
    above = cheapest_levels(curves, cost_short + high, cost_left, floor)
    below = cheapest_levels(curves, cost_short + low, cost_left, floor)
    return _trim(curves, above, below, cost_short, cost_left, service)


def least_cost_for_service(
    curves: Curves, cost_short: FloatArray, cost_left: FloatArray, floor: IntArray, service: float
) -> float:
    """Return a cost that no plan reaching this service can beat (the Lagrangian bound), to judge a plan by."""
    level = cheapest_levels(curves, cost_short, cost_left, floor)
    worth = 0.0
    if service_of(curves, level) < service:
        _, worth = _worth_of_met_need(curves, cost_short, cost_left, floor, service)
        level = cheapest_levels(curves, cost_short + worth, cost_left, floor)
    allowed = (1.0 - service) * float(curves.mean.sum())
    missed = float(expected_short(curves, level).sum()) - allowed
    return cost_of(curves, cost_short, cost_left, level) + worth * missed


def cost_of(curves: Curves, cost_short: FloatArray, cost_left: FloatArray, level: IntArray) -> float:
    """Return the season's expected cost of pieces left and pieces short at these levels."""
    return float((cost_left * expected_left(curves, level) + cost_short * expected_short(curves, level)).sum())


def _worth_of_met_need(
    curves: Curves, cost_short: FloatArray, cost_left: FloatArray, floor: IntArray, service: float
) -> tuple[float, float]:
    """Return the money a met need must be worth on top: just not enough for the service, and just enough."""

    def enough(worth: float) -> bool:
        return service_of(curves, cheapest_levels(curves, cost_short + worth, cost_left, floor)) >= service

    low, high = 0.0, 1.0
    while not enough(high) and high < 1e9:
        low, high = high, high * 4
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return low, high


def levels_for_budget(
    curves: Curves,
    cost_short: FloatArray,
    cost_left: FloatArray,
    floor: IntArray,
    *,
    price: FloatArray,
    budget: float,
    wanted: IntArray,
    part: IntArray | None = None,
    pack: IntArray | None = None,
) -> IntArray:
    """Return the levels between ``floor`` and ``wanted`` that save most for at most ``budget`` of new money.

    Pieces are taken in the order of what they save for a dollar; a piece that no longer fits is passed over. Lines
    without a price cost nothing here and are taken as wanted (said aloud by the caller). Lines of one ``part`` (a
    number a part) share full packs of ``pack`` pieces: the first piece pays for its pack, the rest of it is free.
    """
    part = np.arange(len(floor)) if part is None else part
    pack = np.ones(len(floor), dtype=np.int64) if pack is None else pack
    bought = np.zeros(int(part.max(initial=0)) + 1, dtype=np.int64)
    steps = [
        (_gain(curves, line, s, cost_short, cost_left) / max(price[line], 1e-9), line)
        for line in range(len(floor))
        for s in range(int(floor[line]), int(wanted[line]))
    ]
    level, spent, stopped = floor.copy(), 0.0, np.zeros(len(floor), dtype=bool)
    # a line's own pieces come in falling gain, so they are met in order of level
    for _, line in sorted(steps, key=lambda step: (-step[0], step[1])):
        if stopped[line]:
            continue
        opens_pack = bought[part[line]] % pack[line] == 0
        money = float(price[line] * pack[line]) if opens_pack else 0.0
        if spent + money > budget + 1e-9:
            stopped[line] = True
            continue
        level[line] += 1
        bought[part[line]] += 1
        spent += money
    return level


def service_of(curves: Curves, level: IntArray) -> float:
    """Return the share of the fleet's needs met from the shelf at these levels."""
    if curves.mean.sum() <= 0:
        return 1.0
    return 1.0 - float(expected_short(curves, level).sum() / curves.mean.sum())


def _gain(curves: Curves, line: int, s: int, cost_short: FloatArray, cost_left: FloatArray) -> float:
    over = curves.over[line, s] if s < curves.over.shape[1] else 0.0
    return float(cost_short[line] * curves.repeats[line] * over - cost_left[line] * (1.0 - over))


def _trim(
    curves: Curves, level: IntArray, least: IntArray, cost_short: FloatArray, cost_left: FloatArray, service: float
) -> IntArray:
    """Give back the pieces above ``least`` that the floor doesn't need, dearest for what they meet first."""
    total = float(curves.mean.sum())
    short = float(expected_short(curves, level).sum())
    spare = [
        (-_gain(curves, line, s, cost_short, cost_left), line, s)
        for line in map(int, np.flatnonzero(level > least))
        for s in range(int(least[line]), int(level[line]))
    ]
    level = level.copy()
    for loss, line, s in sorted(spare, reverse=True):
        over = curves.over[line, s] if s < curves.over.shape[1] else 0.0
        missed = over * curves.repeats[line]
        if s == level[line] - 1 and loss > 0 and short + missed <= (1.0 - service) * total + 1e-12:
            level[line] -= 1
            short += missed
    return level
