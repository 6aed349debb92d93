"""How many failures has a unit had by a given age, and are they coming faster? Recurrent events seen in windows.

A unit is watched from ``start`` to ``stop``, not from age zero, and perhaps again later. Sources: W. Nelson,
Technometrics 37 (1995), the mean cumulative function; J. F. Lawless and C. Nadeau, Technometrics 37 (1995), its robust
variance; L. H. Crow, in Reliability and Biometry (1974), and MIL-HDBK-189 (1981), the power law; NIST/SEMATECH
e-Handbook 8.4.5.2, its bias-corrected form; H. Ascher and H. Feingold, Repairable Systems Reliability (1984),
Laplace's test. Checked in tests/reference/test_reference_recurrence.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from fleet.analysis.poisson import FloatArray, Interval, check_level
from fleet.analysis.recurrence_windows import IndexArray, check_windows, moments_watched, unit_of_windows
from fleet.errors import AnalysisError
from fleet.settings import LEVEL


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeanCumulative:
    """Failures a unit has had on average by each age at which any unit failed.

    Attributes
    ----------
    ages, at_risk, events : ndarray
        Distinct ages of failure, units watched at that age, failures at that age.
    mean, sd, low, high : ndarray
        The function, its robust standard error and its interval (log scale); not a number beyond ``broken_at``.
    broken_at : float or None
        Age from which nothing was watched for a while: the curve isn't carried over such a hole.
    """

    ages: FloatArray
    at_risk: FloatArray
    events: FloatArray
    mean: FloatArray
    sd: FloatArray
    low: FloatArray = field(repr=False)
    high: FloatArray = field(repr=False)
    level: float
    starts_at: float
    broken_at: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendTest:
    """Laplace's test: above zero failures come faster with age, below zero slower; ``p_value`` is two-sided."""

    z: float
    p_value: float
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerLaw:
    """Failures by age t of one unit: scale x t^shape; a shape above 1 means they come faster."""

    shape: float
    scale: float
    n: int

    def expected(self, start: float, stop: float) -> float:
        """Expect failures of one unit between two ages."""
        return self.scale * (math.pow(stop, self.shape) - math.pow(start, self.shape))

    def rate(self, age: float) -> float:
        """Give failures per unit of time at an age."""
        return self.scale * self.shape * math.pow(age, self.shape - 1.0)


def mean_cumulative(
    start: npt.ArrayLike,
    stop: npt.ArrayLike,
    unit: npt.ArrayLike,
    age: npt.ArrayLike,
    *,
    level: float = LEVEL,
    belongs_to: npt.ArrayLike | None = None,
) -> MeanCumulative:
    """Estimate how many failures a unit has had by each age.

    Parameters
    ----------
    start, stop : array-like of shape (windows,)
        Ages between which a unit was watched; one window a unit, or several with ``belongs_to``.
    unit, age : array-like of shape (failures,)
        In which window the failure fell (its position in ``start``) and at which age.
    level : float
        Two-sided level of ``low`` and ``high``.
    belongs_to : array-like of shape (windows,), optional
        The number of the unit each window belongs to, 0, 1, 2, ...; a unit's windows may not overlap.

    Returns
    -------
    MeanCumulative
        Counted from the earliest age watched (``starts_at``); empty when nothing failed.

    Raises
    ------
    AnalysisError
        When a window is empty or broken, windows of a unit overlap, or a failure lies outside its window
        (start < age <= stop).

    Notes
    -----
    M(t) = sum d/n over failure ages; a failure at the age where its unit leaves still has it at risk. Variance after
    Lawless and Nadeau: sum over units of [sum Y/n (d_i - d/n)]^2. Units are taken as independent.
    """
    check_level(level)
    windows, failures = check_windows(start, stop, unit, age)
    entry, leave = windows
    owner, when = failures
    ages, at = np.unique(when, return_inverse=True)
    events = np.bincount(at, minlength=ages.size).astype(np.float64)
    at_risk = _watched(entry, ages) - _watched(leave, ages)
    mean = np.cumsum(events / at_risk)
    units = unit_of_windows(windows, belongs_to)
    sd = np.sqrt(_robust_variance(windows, units, (owner, at), ages, events / at_risk**2))
    broken_at = _first_hole(entry, leave)
    if broken_at is not None:
        mean, sd = (np.where(ages <= broken_at, values, np.nan) for values in (mean, sd))
    step = special.ndtri(0.5 + level / 2.0) * sd / mean
    return MeanCumulative(
        ages=ages,
        at_risk=at_risk,
        events=events,
        mean=mean,
        sd=sd,
        low=mean * np.exp(-step),
        high=mean * np.exp(step),
        level=level,
        starts_at=float(entry.min()),
        broken_at=broken_at,
    )


def laplace_trend(
    start: npt.ArrayLike,
    stop: npt.ArrayLike,
    unit: npt.ArrayLike,
    age: npt.ArrayLike,
    *,
    belongs_to: npt.ArrayLike | None = None,
) -> TrendTest | None:
    """Test whether failures come faster or slower with age; None when nothing failed.

    Parameters are those of `mean_cumulative`. Each unit's own rate is conditioned away, so units that simply
    fail more often make no trend; `fleet.analysis.trends` has the tests that also bear failures in clusters.

    Notes
    -----
    U = [sum t - sum n m] / sqrt(sum n v) with m and v the mean and variance of a moment picked at random from the time
    a unit was watched: (S+T)/2 and (T-S)^2/12 for one window S to T; near normal from about 4 failures.
    """
    windows, (owner, when) = check_windows(start, stop, unit, age)
    if when.size == 0:
        return None
    units = unit_of_windows(windows, belongs_to)
    middle, spread = moments_watched(windows, units)
    mine = units[owner]
    z = float((when - middle[mine]).sum() / math.sqrt(float(spread[mine].sum())))
    return TrendTest(z=z, p_value=math.erfc(abs(z) / math.sqrt(2.0)), n=when.size)


def fit_power_law(
    start: npt.ArrayLike, stop: npt.ArrayLike, unit: npt.ArrayLike, age: npt.ArrayLike, *, unbiased: bool = False
) -> PowerLaw | None:
    """Fit the power law of failures against age; None where under two failures, or no shape up to 50, allow it.

    Parameters
    ----------
    start, stop, unit, age : array-like
        As for `mean_cumulative`.
    unbiased : bool
        Shrink the shape by (n - 1)/n, which takes out its bias where every window starts at age zero and stops
        by time.

    Notes
    -----
    Maximum likelihood: scale = n / sum(T^b - S^b), and the shape b solves
    n/b + sum log t = scale x sum(T^b log T - S^b log S).
    """
    (entry, leave), (_, when) = check_windows(start, stop, unit, age)
    n = when.size
    longest = float(leave.max())
    if n < 2 or not (when > 0).all() or bool((when == longest).all()):
        return None
    # Ages relative to the longest: the shape doesn't depend on the unit of time, and powers stay small.
    early, late, events = entry / longest, leave / longest, when / longest

    def score(log_shape: float) -> float:
        b = math.exp(log_shape)
        weight = special.xlogy(late**b, late) - special.xlogy(early**b, early)
        return n / b + float(np.log(events).sum()) - n * float(weight.sum() / (late**b - early**b).sum())

    shape = _shape_root(score)
    if shape is None:
        return None
    shape *= (n - 1.0) / n if unbiased else 1.0
    total = float((late**shape - early**shape).sum())
    return PowerLaw(shape=shape, scale=n / total / longest**shape, n=n)


def fit_power_law_grouped(ends: npt.ArrayLike, counts: npt.ArrayLike) -> PowerLaw | None:
    """Fit the power law to one unit's failures counted by interval, the first from age zero; None if none fits.

    Raises
    ------
    AnalysisError
        When the ends don't rise, a count is negative, or there are under two intervals or two failures.

    Source
    ------
    MIL-HDBK-189 (1981), appendix C, grouped data.
    """
    edge = np.concatenate([[0.0], np.asarray(ends, dtype=np.float64)])
    n = np.asarray(counts, dtype=np.float64)
    if n.size < 2 or edge.size != n.size + 1 or (np.diff(edge) <= 0).any() or (n < 0).any() or n.sum() < 2:
        msg = f"{n.size} counts on {edge.size - 1} rising interval ends: at least two of each, and two failures, needed"
        raise AnalysisError(msg)
    early, late = edge[:-1] / edge[-1], edge[1:] / edge[-1]

    def score(log_shape: float) -> float:
        b = math.exp(log_shape)
        gain = special.xlogy(late**b, late) - special.xlogy(early**b, early)
        return float(n @ (gain / (late**b - early**b)))

    shape = _shape_root(score)
    if shape is None:
        return None
    return PowerLaw(shape=shape, scale=float(n.sum()) / math.pow(edge[-1], shape), n=int(n.sum()))


def mtbf_interval(fit: PowerLaw, stop: float, level: float = LEVEL) -> Interval:
    """Bound the time between failures at the end of one unit's watch, given a fit with ``unbiased=True``.

    Source
    ------
    NIST/SEMATECH e-Handbook 8.4.5.2: approximate limits for a watch from age zero that stops by time.
    """
    check_level(level)
    z, n = float(special.ndtri(0.5 + level / 2.0)), fit.n
    mtbf = 1.0 / fit.rate(stop)
    low = n * (n - 1.0) / (n + z**2 / 4.0 + math.sqrt(n * z**2 / 2.0 + z**4 / 16.0)) ** 2
    room = n - z * math.sqrt(n / 2.0)
    high = n * (n - 1.0) / room**2 if room > 0 else math.inf
    return Interval(low=mtbf * low, high=mtbf * high, level=level, method="power law, approximate limits (NIST)")


def _shape_root(score: Callable[[float], float]) -> float | None:
    """Return the shape between 0.001 and 50 at which the score is zero, if there is one."""
    bounds = (math.log(1e-3), math.log(50.0))
    with np.errstate(all="ignore"):
        ends = score(bounds[0]), score(bounds[1])
        if not ends[0] * ends[1] < 0:
            return None
        return math.exp(float(optimize.brentq(score, *bounds, xtol=1e-13)))


def _watched(borders: FloatArray, ages: FloatArray) -> FloatArray:
    """Count borders strictly before each age: windows are open at their start, closed at their stop."""
    return np.searchsorted(np.sort(borders), ages, side="left").astype(np.float64)


def _first_hole(entry: FloatArray, leave: FloatArray) -> float | None:
    """Return the first age at which nobody is watched although somebody is later."""
    order = np.argsort(entry)
    reach = np.maximum.accumulate(leave[order])
    holes = np.flatnonzero(entry[order][1:] > reach[:-1])
    return float(reach[holes[0]]) if holes.size else None


def _robust_variance(
    windows: tuple[FloatArray, FloatArray],
    units: IndexArray,
    failures: tuple[IndexArray, IndexArray],
    ages: FloatArray,
    drop: FloatArray,
) -> FloatArray:
    """Sum over units the square of what each adds to M beyond the mean, at every failure age.

    A unit's part is W = (its own 1/n so far) - (A(t) - A(start)) with A the running sum of d/n^2 while it is watched,
    and stands still after it leaves, until a later window of the same unit carries it on. W^2 is summed in three
    running sums of U = W + A(t), which only jump.
    """
    entry, leave = windows
    owner, at = failures
    enters, leaves = (np.searchsorted(ages, border, side="right") for border in windows)
    fall = np.concatenate([[0.0], np.cumsum(drop)])
    at_entry, at_leave, now = fall[enters], fall[leaves], fall[1:]
    gain = 1.0 / (_watched(entry, ages) - _watched(leave, ages))[at]
    own = np.bincount(owner, weights=gain, minlength=entry.size).astype(np.float64)
    carried = _carried(units, entry, own - (at_leave - at_entry))
    begin = at_entry + carried
    after = begin[owner] + _running_by_unit(owner, at, gain)
    before = after - gain
    final = begin + own

    def running(*jumps: tuple[IndexArray, FloatArray]) -> FloatArray:
        summed = np.zeros(ages.size + 1)
        for where, value in jumps:
            summed += np.bincount(where, weights=value, minlength=ages.size + 1)
        return np.cumsum(summed)[: ages.size]

    count = running((enters, np.ones(entry.size)), (leaves, np.full(entry.size, -1.0)))
    level = running((enters, begin), (at, after - before), (leaves, -final))
    square = running((enters, begin**2), (at, after**2 - before**2), (leaves, -(final**2)))
    gone = running((leaves, (final - at_leave) ** 2), (enters, -(carried**2)))
    variance: FloatArray = np.maximum(gone + square - 2.0 * now * level + count * now**2, 0.0)
    return variance


def _running_by_unit(owner: IndexArray, at: IndexArray, gain: FloatArray) -> FloatArray:
    """Sum each unit's own gains in order of age, its present one included."""
    order = np.lexsort((at, owner))
    total = np.cumsum(gain[order])
    first = np.searchsorted(owner[order], owner[order], side="left")
    summed = np.empty(gain.size)
    summed[order] = total - (total - gain[order])[first]
    return summed


def _carried(units: IndexArray, entry: FloatArray, gained: FloatArray) -> FloatArray:
    """Sum what each unit's earlier windows gained, at the start of each of its windows."""
    if units.size == np.unique(units).size:
        return np.zeros(units.size)
    order = np.lexsort((entry, units))
    before = np.cumsum(gained[order]) - gained[order]
    first = np.searchsorted(units[order], units[order], side="left")
    carried = np.empty(units.size)
    carried[order] = before - before[first]
    return carried
