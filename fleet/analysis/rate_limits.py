"""Between which bounds does each group's rate lie, by the interval asked for? And what ratio could the data have shown?

``exact`` never covers less than its level; ``mid-p`` is shorter and covers its level on average. Either is widened
where units differ. The smallest ratio is worked out from the test itself, not from a normal approximation, while
counts are small. Sources: `fleet.analysis.poisson`; H. O. Lancaster, J. Am. Stat. Assoc. 56 (1961), mid-P (from
memory). Checked in tests/unit/test_rate_limits.py and tests/studies/rates_study.py.
"""

from __future__ import annotations

import math
from typing import get_args

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from fleet.analysis.poisson import (
    FloatArray,
    PairMethod,
    as_counts,
    check_level,
    combined_limits,
    midp_interval,
    sandwich_limits,
    smallest_detectable_ratio,
)
from fleet.errors import AnalysisError
from fleet.settings import LEVEL

POWER = 0.80
"""A ratio counts as one the data could have shown when they would have shown it four times in five."""

LARGEST_RATIO = 100.0
"""Beyond this no ratio is searched for."""

_EXACT_BELOW = 200.0
"""Failures in both groups up to which the test's power is added up outcome by outcome."""


def check_interval(interval: str) -> PairMethod:
    """Return the kind of interval asked for, or say (AnalysisError) which there are."""
    for known in get_args(PairMethod):
        if interval == known:
            method: PairMethod = known
            return method
    msg = f"interval = {interval!r} is not known; choose from {', '.join(get_args(PairMethod))}"
    raise AnalysisError(msg)


def midp_limits(counts: npt.ArrayLike, exposures: npt.ArrayLike, level: float = LEVEL) -> tuple[FloatArray, FloatArray]:
    """Bound each group's rate by the mid-P limits.

    Parameters and returned arrays are those of `fleet.analysis.poisson.garwood_limits`; each distinct count is
    solved once.
    """
    n, exposure = as_counts(counts, exposures)
    values, at = np.unique(n, return_inverse=True)
    solved = [midp_interval(int(value), 1.0, level) for value in values]
    safe = np.where(exposure > 0, exposure, np.nan)
    low, high = (np.array([getattr(found, end) for found in solved], dtype=np.float64) for end in ("low", "high"))
    return low[at.reshape(n.shape)] / safe, high[at.reshape(n.shape)] / safe


def group_limits(
    groups: npt.ArrayLike,
    counts: npt.ArrayLike,
    exposures: npt.ArrayLike,
    level: float = LEVEL,
    *,
    interval: PairMethod = "exact",
) -> tuple[FloatArray, FloatArray]:
    """Bound each group's rate by chance as the interval asks, or by how its units differ, whichever is the wider.

    Parameters
    ----------
    groups : array-like of int
        Group of each unit, 0, 1, 2, ...
    counts, exposures : array-like
        Failures and unit-years of each unit.
    level : float
        Two-sided level.
    interval : {"exact", "mid-p"}
        How chance alone is bounded.

    Returns
    -------
    low, high : ndarray, one entry a group
        Not a number where a group has no exposure.
    """
    if interval == "exact":
        return combined_limits(groups, counts, exposures, level)
    n, exposure = as_counts(counts, exposures)
    code = np.asarray(groups, dtype=np.int64)
    low, high = midp_limits(np.bincount(code, weights=n), np.bincount(code, weights=exposure), level)
    low_units, high_units = sandwich_limits(code, n, exposure, level)
    return np.fmin(low, low_units), np.fmax(high, high_units)


def chance_to_show(
    ratio: float, expected_0: float, expected_1: float, level: float = LEVEL, *, interval: PairMethod = "exact"
) -> float:
    """Say how likely the conditional test would show a true ratio above 1.

    Parameters
    ----------
    ratio : float
        True rate of the first group over that of the second.
    expected_0, expected_1 : float
        Failures expected in the second and the first group if both had the base rate.
    level : float
        Two-sided level of the interval that has to clear 1.
    interval : {"exact", "mid-p"}
        Which test.

    Returns
    -------
    float
        The chance, added up over all totals the two Poisson counts may have.
    """
    check_level(level)
    share = expected_1 / (expected_0 + expected_1)
    need = _fewest_to_show(_most_failures(expected_0 + ratio * expected_1), share, (1.0 - level) / 2.0, interval)
    return _power(ratio, expected_0, expected_1, need)


def smallest_ratio_shown(
    expected_0: float,
    expected_1: float,
    level: float = LEVEL,
    *,
    interval: PairMethod = "exact",
    inflation: float = 1.0,
    freedom: float = math.inf,
) -> float:
    """Say which ratio above 1 this much data would have shown four times in five.

    Parameters
    ----------
    expected_0, expected_1, level, interval
        As for `chance_to_show`.
    inflation : float
        Variance of the log ratio over that of Poisson counts, where units differ (1: as chance alone).
    freedom : float
        Degrees of freedom of that variance.

    Returns
    -------
    float
        Infinite where even a ratio of LARGEST_RATIO would be missed more often.

    Notes
    -----
    Up to some 200 failures the power of the test itself; beyond, and wherever units differ more than chance makes
    them, log R = (t + z) sqrt(inflation (1/E0 + 1/(E1 R))), whichever is the larger.
    """
    if not (expected_0 > 0 and expected_1 > 0):
        return math.inf
    rough = smallest_detectable_ratio(expected_0, expected_1, level, power=POWER)
    if inflation > 1.0:
        # a variance k times as large is that of counts k times as small; the t quantile widens it once more
        z = float(special.ndtri(0.5 + level / 2.0) + special.ndtri(POWER))
        t = float(special.stdtrit(freedom, 0.5 + level / 2.0)) if math.isfinite(freedom) else z - special.ndtri(POWER)
        times = inflation * ((t + float(special.ndtri(POWER))) / z) ** 2
        rough = smallest_detectable_ratio(expected_0 / times, expected_1 / times, level, power=POWER)
    found = _exact_ratio(expected_0, expected_1, level, interval)
    largest = rough if found is None else max(found, rough) if inflation > 1.0 else found
    return largest if largest <= LARGEST_RATIO else math.inf


def _exact_ratio(expected_0: float, expected_1: float, level: float, interval: PairMethod) -> float | None:
    """Return the ratio at which the test's own power is POWER; None where counts are too many to add up."""
    if expected_0 + expected_1 > _EXACT_BELOW:
        return None

    rough = math.log(smallest_detectable_ratio(expected_0, expected_1, level, power=POWER))
    most = math.log(LARGEST_RATIO)
    low, high = 0.0, min(1.2 * rough, most)
    tail, share = (1.0 - level) / 2.0, expected_1 / (expected_0 + expected_1)
    need = np.empty(0, dtype=np.int64)

    def shortfall(log_ratio: float) -> float:
        return _power(math.exp(log_ratio), expected_0, expected_1, need) - POWER

    while True:
        need = _fewest_to_show(_most_failures(expected_0 + math.exp(high) * expected_1), share, tail, interval)
        if shortfall(high) >= 0:
            return math.exp(float(optimize.brentq(shortfall, low, high, xtol=1e-4)))
        if high >= most:
            return math.inf
        low, high = high, min(high + 0.5 * rough, most)


def _most_failures(mean: float) -> int:
    """Return a total that a Poisson count of this mean practically never passes."""
    return math.ceil(mean + 6.0 * math.sqrt(mean) + 12.0)


def _power(ratio: float, expected_0: float, expected_1: float, need: npt.NDArray[np.int64]) -> float:
    """Add up, over every total, how likely the first count reaches what that total needs."""
    total = expected_0 + ratio * expected_1
    first = max(0, math.floor(total - 6.0 * math.sqrt(total) - 12.0))
    n = np.arange(first, min(_most_failures(total) + 1, need.size))
    weight = np.exp(special.xlogy(n, total) - total - special.gammaln(n + 1.0))
    reach = need[n]
    possible = reach <= n
    n, reach = n[possible].astype(np.float64), reach[possible].astype(np.float64)
    return float(weight[possible] @ special.betainc(reach, n - reach + 1.0, ratio * expected_1 / total))


def _fewest_to_show(most: int, share: float, tail: float, interval: PairMethod) -> npt.NDArray[np.int64]:
    """Return, for totals from 0 to ``most``, the smallest first count with an upper p-value of at most ``tail``.

    A total + 1 says that none has. One failure more raises what is needed by one or not at all.
    """
    need = np.ones(most + 1, dtype=np.int64)
    fewest = 1
    for n in range(1, most + 1):
        if fewest <= n and _p_value(fewest, n, share, interval) > tail:
            fewest += 1
        need[n] = fewest
    return need


def _p_value(count: int, n: int, share: float, interval: PairMethod) -> float:
    """P(X >= count) of a binomial with 1 <= count <= n, less half of P(X = count) for mid-P."""
    at_least = float(special.betainc(count, n - count + 1.0, share))
    if interval == "exact":
        return at_least
    above = float(special.betainc(count + 1.0, n - count, share)) if count < n else 0.0
    return 0.5 * (at_least + above)
