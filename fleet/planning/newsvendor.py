"""How many to buy for one season, and what is lost by having too many or too few? Stocking arithmetic.

One-season (newsvendor) stock for several laws of demand and for a sample of futures, expected pieces left and
short, expected backorders of a refilled shelf, and the textbook safety stocks. Sources: L. V. Snyder and
Z.-J. M. Shen, Fundamentals of Supply Chain Theory (2nd ed. 2019), chapter 4 and appendix C; C. C. Sherbrooke,
Optimal Inventory Modeling of Systems (2nd ed. 2004), chapter 2; E. A. Silver, D. F. Pyke and D. J. Thomas, Inventory
and Production Management in Supply Chains (4th ed. 2017), chapter 6. Checked in
tests/reference/test_reference_stocking.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special, stats

from fleet.errors import PlanError

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

# Room for the rounding of share x draws, so that 0.9 of 10 draws is the ninth and not the tenth.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftAndShort:
    """Pieces expected to be left over and pieces expected to be short at the season's end."""

    left: float
    short: float


def critical_ratio(cost_short: float, cost_left: float) -> float:
    """Say which share of futures the stock should cover: cost_short / (cost_short + cost_left).

    Parameters
    ----------
    cost_short, cost_left : float
        Money lost for each piece short and for each piece left over; neither negative, not both zero.

    Raises
    ------
    PlanError
        When a cost is negative or not finite, or both are zero.
    """
    if not (0 <= cost_short < math.inf and 0 <= cost_left < math.inf and cost_short + cost_left > 0):
        msg = f"cost of a piece short = {cost_short} and left = {cost_left}: neither negative, and one above zero"
        raise PlanError(msg)
    return cost_short / (cost_short + cost_left)


def optimal_stock_poisson(mean: float, ratio: float) -> int:
    """Choose the smallest stock that covers Poisson demand with the given chance."""
    _check_ratio(ratio)
    return _whole(stats.poisson.ppf(ratio, _checked_mean(mean)), ratio)


def optimal_stock_negative_binomial(mean: float, shape: float, ratio: float) -> int:
    """Choose the smallest stock that covers negative binomial demand (variance mean + mean^2/shape)."""
    _check_ratio(ratio)
    _check_positive("shape", shape)
    return _whole(stats.nbinom.ppf(ratio, shape, shape / (shape + _checked_mean(mean))), ratio)


def optimal_stock_normal(mean: float, sd: float, ratio: float) -> float:
    """Choose the stock, not rounded, that covers normal demand with the given chance."""
    _check_ratio(ratio)
    _check_positive("sd", sd)
    return mean + sd * float(special.ndtri(ratio))


def optimal_stock_lognormal(log_mean: float, log_sd: float, ratio: float) -> float:
    """Choose the stock, not rounded, that covers lognormal demand (mean and sd of its logarithm)."""
    return math.exp(optimal_stock_normal(log_mean, log_sd, ratio))


def optimal_stock_draws(draws: npt.ArrayLike, ratio: float) -> IntArray:
    """Choose for each item the smallest stock that covers at least this share of the drawn futures.

    Parameters
    ----------
    draws : array-like of shape (draws,) or (draws, items)
        Whole pieces needed in each future.
    ratio : float
        Share to cover, from `critical_ratio`.

    Returns
    -------
    ndarray of int, shape () or (items,)

    Raises
    ------
    PlanError
        When there are no draws or the ratio is out of range.
    """
    _check_ratio(ratio)
    table = np.asarray(draws)
    if table.shape[0] == 0:
        msg = "there are no draws to choose a stock from; at least one future is needed"
        raise PlanError(msg)
    rank = min(max(math.ceil(ratio * table.shape[0] - _ROUNDING) - 1, 0), table.shape[0] - 1)
    chosen: IntArray = np.partition(table, rank, axis=0)[rank].astype(np.int64)
    return chosen


def left_and_short_pmf(pmf: npt.ArrayLike, stock: float) -> LeftAndShort:
    """Expect pieces left and short for demand 0, 1, 2, ... with these chances (they must sum to one)."""
    chances = np.asarray(pmf, dtype=np.float64)
    if (chances < 0).any() or not math.isclose(float(chances.sum()), 1.0, abs_tol=1e-6):
        msg = f"chances of demand sum to {chances.sum():.6f} (smallest {chances.min():g}); they must sum to 1"
        raise PlanError(msg)
    over = stock - np.arange(chances.size)
    return LeftAndShort(left=float(chances @ np.maximum(over, 0)), short=float(chances @ np.maximum(-over, 0)))


def left_and_short_draws(draws: npt.ArrayLike, stock: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Expect pieces left and short, item by item, over drawn futures of shape (draws,) or (draws, items)."""
    over = np.asarray(stock, dtype=np.float64) - np.asarray(draws, dtype=np.float64)
    return np.maximum(over, 0.0).mean(axis=0), np.maximum(-over, 0.0).mean(axis=0)


def season_cost(left: npt.ArrayLike, short: npt.ArrayLike, *, cost_left: float, cost_short: float) -> FloatArray:
    """Price pieces left and short: cost_left x left + cost_short x short."""
    return cost_left * np.asarray(left, dtype=np.float64) + cost_short * np.asarray(short, dtype=np.float64)


def poisson_loss(mean: float, stock: int) -> float:
    """Expect the pieces of Poisson demand that a stock doesn't meet, E max(X - stock, 0).

    Source
    ------
    Snyder and Shen (2019), appendix C: (mean - s) P(X > s) + mean P(X = s).
    """
    mean = _checked_mean(mean)
    if stock < 0:
        return mean - stock
    above = float(special.pdtrc(stock, mean))
    return (mean - stock) * above + mean * math.exp(float(special.xlogy(stock, mean)) - mean - math.lgamma(stock + 1.0))


def negative_binomial_loss(mean: float, shape: float, stock: int) -> float:
    """Expect the pieces of negative binomial demand that a stock doesn't meet, E max(X - stock, 0)."""
    _check_positive("shape", shape)
    p = shape / (shape + _checked_mean(mean))
    if stock < 0:
        return mean - stock
    covered = np.arange(stock + 1)
    return mean - stock + float((stock - covered) @ stats.nbinom.pmf(covered, shape, p))


def normal_loss(z: float) -> float:
    """Expect the excess of a standard normal over z: phi(z) - z (1 - Phi(z))."""
    return math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi) - z * float(special.ndtr(-z))


def expected_backorders_poisson(mean: float, max_stock: int) -> FloatArray:
    """Expect open needs at each stock 0..max_stock when pieces on order are Poisson with this mean.

    Source
    ------
    Sherbrooke (2004), chapter 2: EBO(0) = mean; EBO(s) = EBO(s - 1) - P(X >= s).
    """
    mean = _checked_mean(mean)
    at_least = special.pdtrc(np.arange(max_stock), mean)
    return np.maximum(mean - np.concatenate([[0.0], np.cumsum(at_least)]), 0.0)


def reorder_level_cycle_service(mean: float, sd: float, service: float) -> float:
    """Set the shelf level, not rounded, that lasts a lead time with this chance (normal demand)."""
    return optimal_stock_normal(mean, sd, service)


def reorder_level_fill_rate(order_quantity: float, mean: float, sd: float, fill: float) -> float:
    """Set the shelf level, not rounded, that meets this share of needs (normal demand over the lead time).

    Source
    ------
    Silver, Pyke and Thomas (2017), chapter 6: the normal loss at k equals order_quantity (1 - fill) / sd.
    """
    _check_ratio(fill)
    _check_positive("sd", sd)
    _check_positive("order_quantity", order_quantity)
    target = order_quantity * (1.0 - fill) / sd
    k = optimize.brentq(lambda z: normal_loss(z) - target, -target - 10.0, 40.0, xtol=1e-12)
    return mean + sd * float(k)


def _whole(quantile: float, ratio: float) -> int:
    if not math.isfinite(quantile):
        msg = f"no finite stock covers demand with chance {ratio}; a piece left over must cost something"
        raise PlanError(msg)
    return max(int(quantile), 0)


def _checked_mean(mean: float) -> float:
    if not 0 <= mean < math.inf:
        msg = f"mean demand = {mean} must be zero or more and finite"
        raise PlanError(msg)
    return mean


def _check_ratio(ratio: float) -> None:
    if not 0 <= ratio <= 1:
        msg = f"the share of futures to cover is {ratio}; it must lie between 0 and 1"
        raise PlanError(msg)


def _check_positive(name: str, value: float) -> None:
    if not 0 < value < math.inf:
        msg = f"{name} = {value} must be above zero and finite"
        raise PlanError(msg)
