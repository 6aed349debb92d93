"""How sure is a failure rate, and do two rates differ? Exact intervals and tests for counts.

Everything here takes failures and unit-years; nothing here knows where they come from.
Sources: F. Garwood, Biometrika 28 (1936), exact limits of a Poisson mean; C. J. Clopper and
E. S. Pearson, Biometrika 26 (1934), exact binomial limits; J. Przyborowski and H. Wilenski,
Biometrika 31 (1940), the conditional test of two Poisson rates; Y. Benjamini and Y. Hochberg,
J. R. Stat. Soc. B 57 (1995), false discovery. Checked in tests/reference/test_reference_rates.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from fleet.errors import AnalysisError
from fleet.settings import LEVEL

FloatArray = npt.NDArray[np.float64]
PairMethod = Literal["exact", "mid-p"]

_GARWOOD = "exact Poisson (Garwood)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """Between which bounds a value lies, at which level, and by which method."""

    low: float
    high: float
    level: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RateRatio:
    """By what factor the first rate differs from the second, and whether it could be chance.

    ``ratio`` is infinite when only the second group has no failures and not a number when neither has any.
    The p-values are for ``null_ratio``: ``p_greater`` is small when the first rate is higher.
    """

    ratio: float
    interval: Interval
    null_ratio: float
    p_greater: float
    p_less: float
    p_value: float


def check_level(level: float) -> None:
    """Refuse (AnalysisError) an interval level that isn't strictly between 0 and 1."""
    if not 0.0 < level < 1.0:
        msg = f"level = {level} must lie between 0 and 1, for example 0.90"
        raise AnalysisError(msg)


def as_counts(counts: npt.ArrayLike, exposures: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return counts and exposures as equally long float arrays, or say (AnalysisError) what is wrong with them."""
    n, exposure = np.broadcast_arrays(np.asarray(counts, dtype=np.float64), np.asarray(exposures, dtype=np.float64))
    problems = (
        ("count is negative, broken or not whole", ~np.isfinite(n) | (n < 0) | (n != np.floor(n))),
        ("exposure is negative or not finite", ~np.isfinite(exposure) | (exposure < 0)),
        ("count is above zero on no exposure", (n > 0) & (exposure <= 0)),
    )
    for what, bad in problems:
        if bad.any():
            first = int(np.flatnonzero(bad)[0])
            where = f"the first has count {n.flat[first]:g} and exposure {exposure.flat[first]:g}"
            msg = f"{int(bad.sum())} of {n.size} groups can't be used: {what} ({where})"
            raise AnalysisError(msg)
    return n, exposure


def garwood_limits(
    counts: npt.ArrayLike, exposures: npt.ArrayLike, level: float = LEVEL
) -> tuple[FloatArray, FloatArray]:
    """Bound each group's rate, its failures taken as chance at a steady rate.

    Parameters
    ----------
    counts, exposures : array-like
        Failures (whole numbers) and unit-years of each group.
    level : float
        Two-sided level; each tail holds half of the rest.

    Returns
    -------
    low, high : ndarray
        Failures per unit-year; not a number where a group has no exposure.

    Source
    ------
    Garwood (1936): low = chi2(a/2; 2n)/2T, high = chi2(1-a/2; 2n+2)/2T.
    """
    check_level(level)
    n, exposure = as_counts(counts, exposures)
    tail = (1.0 - level) / 2.0
    low_count = np.where(n > 0, special.gammaincinv(np.maximum(n, 1.0), tail), 0.0)
    high_count = special.gammainccinv(n + 1.0, tail)
    safe = np.where(exposure > 0, exposure, np.nan)
    return low_count / safe, high_count / safe


def garwood_interval(count: int, exposure: float, level: float = LEVEL) -> Interval:
    """Bound one rate by the exact Poisson limits; see `garwood_limits`."""
    low, high = garwood_limits(count, exposure, level)
    return Interval(low=float(low), high=float(high), level=level, method=_GARWOOD)


def midp_interval(count: int, exposure: float, level: float = LEVEL) -> Interval:
    """Bound one rate by the mid-P limits (shorter, a little below the level at worst).

    Solves P(X > n) + P(X = n)/2 = tail for the low end and its mirror image for the high end.
    """
    outer = garwood_interval(count, exposure, level)
    if math.isnan(outer.high):
        return Interval(low=math.nan, high=math.nan, level=level, method="mid-P Poisson")
    tail = (1.0 - level) / 2.0
    bracket = (outer.low * exposure, outer.high * exposure)

    def above(mean: float) -> float:
        return 0.5 * (_poisson_above(count - 1, mean) + _poisson_above(count, mean))

    low = _root(lambda mean: above(mean) - tail, *bracket) if count > 0 else 0.0
    high = _root(lambda mean: above(mean) - (1.0 - tail), *bracket)
    return Interval(low=low / exposure, high=high / exposure, level=level, method="mid-P Poisson")


def upper_bound_for_zero(exposure: float, level: float = 0.95) -> float:
    """Bound the rate from above when nothing has failed yet: -ln(1 - level)/T, one-sided, 3.0/T at 95 %.

    Raises
    ------
    AnalysisError
        When the exposure isn't above zero.
    """
    check_level(level)
    if not exposure > 0:
        msg = f"exposure = {exposure} must be above zero to bound a rate"
        raise AnalysisError(msg)
    return -math.log1p(-level) / exposure


def clopper_pearson(successes: int, n: int, level: float = LEVEL) -> Interval:
    """Bound a share (first-visit repairs, call-backs) by the exact binomial limits.

    Raises
    ------
    AnalysisError
        When there is nothing to count, or more successes than trials.
    """
    check_level(level)
    if not (n > 0 and 0 <= successes <= n):
        msg = f"{successes} successes of {n}: needs at least one trial and no more successes than trials"
        raise AnalysisError(msg)
    low, high = _binomial_limits(successes, n, (1.0 - level) / 2.0)
    return Interval(low=low, high=high, level=level, method="exact binomial (Clopper-Pearson)")


def compare_two_rates(
    count_1: int,
    exposure_1: float,
    count_0: int,
    exposure_0: float,
    *,
    level: float = LEVEL,
    null_ratio: float = 1.0,
    method: PairMethod = "mid-p",
) -> RateRatio:
    """Say whether the first rate differs from the second, and by what factor.

    Given both counts together, the first is binomial; the test and the limits of the ratio follow
    from that without approximation. ``mid-p`` counts half of the outcome seen, so its size is close to
    the level; ``exact`` never exceeds it.

    Returns
    -------
    RateRatio
        Ratio, interval and one- and two-sided p-values; two-sided is twice the smaller side, at most 1.

    Raises
    ------
    AnalysisError
        When a group has no exposure, or a count or the null ratio is unusable.

    Source
    ------
    Przyborowski and Wilenski (1940); checks 13 and 14 of tests/reference/test_reference_rates.py.
    """
    check_level(level)
    as_counts([count_1, count_0], [exposure_1, exposure_0])
    if exposure_1 <= 0 or exposure_0 <= 0 or not 0 < null_ratio < math.inf:
        msg = f"exposures {exposure_1} and {exposure_0} and the null ratio {null_ratio} must all be above zero"
        raise AnalysisError(msg)
    total, tail = count_1 + count_0, (1.0 - level) / 2.0
    share = null_ratio * exposure_1 / (null_ratio * exposure_1 + exposure_0)
    p_greater, p_less = _binomial_tails(count_1, total, share, method)
    limits = _binomial_limits if method == "exact" else _binomial_midp_limits
    low, high = limits(count_1, total, tail) if total else (0.0, 1.0)
    odds = exposure_0 / exposure_1
    interval = Interval(
        low=odds * low / (1.0 - low),
        high=odds * high / (1.0 - high) if high < 1.0 else math.inf,
        level=level,
        method=f"conditional {method}",
    )
    return RateRatio(
        ratio=_ratio(count_1 * odds, count_0),
        interval=interval,
        null_ratio=null_ratio,
        p_greater=p_greater,
        p_less=p_less,
        p_value=min(1.0, 2.0 * min(p_greater, p_less)),
    )


def smallest_detectable_ratio(
    expected_0: float, expected_1: float, level: float = LEVEL, *, power: float = 0.80
) -> float:
    """Say how large a ratio must be before this much data would show it, four times in five.

    Parameters
    ----------
    expected_0, expected_1 : float
        Failures expected in the two groups if both had the base rate.
    level : float
        Level of the two-sided interval the ratio must clear.
    power : float
        The chance of seeing it.

    Returns
    -------
    float
        The ratio above 1; infinite where a group expects no failure.

    Notes
    -----
    Normal approximation on the log ratio: log R = (z + z_power) sqrt(1/E0 + 1/(E1 R)).
    """
    check_level(level)
    check_level(power)
    if not (expected_0 > 0 and expected_1 > 0):
        return math.inf
    z = float(special.ndtri(0.5 + level / 2.0) + special.ndtri(power))

    def shortfall(log_ratio: float) -> float:
        return log_ratio - z * math.sqrt(1.0 / expected_0 + math.exp(-log_ratio) / expected_1)

    upper = z * math.sqrt(1.0 / expected_0 + 1.0 / expected_1)
    return math.exp(_root(shortfall, 0.0, upper))


def sandwich_limits(
    groups: npt.ArrayLike, counts: npt.ArrayLike, exposures: npt.ArrayLike, level: float = LEVEL
) -> tuple[FloatArray, FloatArray]:
    """Bound each group's rate by how much its units differ among themselves.

    Parameters
    ----------
    groups : array-like of int
        Group of each unit, 0, 1, 2, ...
    counts, exposures : array-like
        Failures and unit-years of each unit.
    level : float
        Two-sided level.

    Returns
    -------
    low, high : ndarray, one entry a group
        Not a number where a group has fewer than two units at risk or no failure.

    Notes
    -----
    V(rate) = G/(G-1) sum (n_i - r T_i)^2 / T^2 over G units, on the log scale, with the t quantile of G-1.
    """
    check_level(level)
    n, exposure = as_counts(counts, exposures)
    code = np.asarray(groups, dtype=np.int64)
    units = np.bincount(code, weights=exposure > 0)
    failures, at_risk = np.bincount(code, weights=n), np.bincount(code, weights=exposure)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = failures / at_risk
        squares = np.bincount(code, weights=(n - rate[code] * exposure) ** 2)
        usable = (units >= 2) & (failures > 0)
        log_se = np.sqrt(units / (units - 1.0) * squares) / at_risk / rate
    steps = np.full(rate.shape, np.nan)
    steps[usable] = special.stdtrit(units[usable] - 1.0, 0.5 + level / 2.0) * log_se[usable]
    return rate * np.exp(-steps), rate * np.exp(steps)


def sandwich_interval(counts: npt.ArrayLike, exposures: npt.ArrayLike, level: float = LEVEL) -> Interval | None:
    """Bound one rate by how its units differ; None with under two units or no failure."""
    low, high = sandwich_limits(np.zeros(np.size(counts), dtype=np.int64), counts, exposures, level)
    if low.size == 0 or np.isnan(low[0]):
        return None
    return Interval(low=float(low[0]), high=float(high[0]), level=level, method="unit-clustered, log scale, t")


def combined_limits(
    groups: npt.ArrayLike, counts: npt.ArrayLike, exposures: npt.ArrayLike, level: float = LEVEL
) -> tuple[FloatArray, FloatArray]:
    """Bound each group's rate by whichever of chance and unlike units is the wider.

    The lower of the Garwood and unit-clustered lows and the higher of their highs; see `garwood_limits`
    and `sandwich_limits` for the arguments and where a limit is not a number.
    """
    n, exposure = as_counts(counts, exposures)
    code = np.asarray(groups, dtype=np.int64)
    low, high = garwood_limits(np.bincount(code, weights=n), np.bincount(code, weights=exposure), level)
    low_units, high_units = sandwich_limits(code, n, exposure, level)
    return np.fmin(low, low_units), np.fmax(high, high_units)


def combined_interval(counts: npt.ArrayLike, exposures: npt.ArrayLike, level: float = LEVEL) -> Interval:
    """Bound one rate from the failures and unit-years of its units; see `combined_limits`."""
    low, high = combined_limits(np.zeros(np.size(counts), dtype=np.int64), counts, exposures, level)
    if low.size == 0:
        return Interval(low=math.nan, high=math.nan, level=level, method=_GARWOOD)
    method = f"the wider of {_GARWOOD} and unit-clustered"
    return Interval(low=float(low[0]), high=float(high[0]), level=level, method=method)


def benjamini_hochberg(p_values: npt.ArrayLike, q: float = 0.10) -> npt.NDArray[np.bool_]:
    """Pick the findings that may be named if at most a share ``q`` of those named may be false.

    A p-value that isn't a number was not tested: it is never named and doesn't count among the tests.

    Raises
    ------
    AnalysisError
        When a p-value lies outside 0 to 1.
    """
    check_level(q)
    p = np.asarray(p_values, dtype=np.float64)
    tested = ~np.isnan(p)
    if ((p[tested] < 0) | (p[tested] > 1)).any():
        msg = f"p-values must lie between 0 and 1; got {np.nanmin(p)} to {np.nanmax(p)}"
        raise AnalysisError(msg)
    ordered = np.sort(p[tested])
    passes = np.flatnonzero(ordered <= q * np.arange(1, ordered.size + 1) / max(ordered.size, 1))
    if passes.size == 0:
        return np.zeros(p.shape, dtype=np.bool_)
    named: npt.NDArray[np.bool_] = tested & (p <= ordered[passes[-1]])
    return named


def _poisson_above(k: int, mean: float) -> float:
    return 1.0 if k < 0 else float(special.pdtrc(k, mean))


def _binomial_above(k: int, n: int, share: float) -> float:
    """P(X > k) for a binomial, with the ends spelled out."""
    if k < 0:
        return 1.0
    return 0.0 if k >= n else float(special.betainc(k + 1.0, n - k, share))


def _binomial_tails(count: int, n: int, share: float, method: PairMethod) -> tuple[float, float]:
    """P(X >= count) and P(X <= count), with half of the point itself for mid-P."""
    at_least, above = _binomial_above(count - 1, n, share), _binomial_above(count, n, share)
    if method == "exact":
        return at_least, 1.0 - above
    middle = 0.5 * (at_least + above)
    return middle, 1.0 - middle


def _binomial_limits(count: int, n: int, tail: float) -> tuple[float, float]:
    low = 0.0 if count == 0 else float(special.betaincinv(count, n - count + 1.0, tail))
    high = 1.0 if count == n else float(special.betainccinv(count + 1.0, n - count, tail))
    return low, high


def _binomial_midp_limits(count: int, n: int, tail: float) -> tuple[float, float]:
    bracket = _binomial_limits(count, n, tail)
    low = 0.0 if count == 0 else _root(lambda p: _binomial_tails(count, n, p, "mid-p")[0] - tail, *bracket)
    high = 1.0 if count == n else _root(lambda p: _binomial_tails(count, n, p, "mid-p")[1] - tail, *bracket)
    return low, high


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return the root of a monotone function within a bracket known to hold it."""
    return float(optimize.brentq(function, low, high, xtol=1e-14, rtol=1e-12))


def _ratio(numerator: float, denominator: float) -> float:
    if denominator > 0:
        return numerator / denominator
    return math.inf if numerator > 0 else math.nan
