"""Do failures come faster? Trend tests and sizes that bear unlike units, failures in clusters, and holes in the watch.

Each unit's own rate is conditioned away, so what is left is how its failures lie within the time it was watched.
Sources: J. F. Lawless, C. Cigsar and R. J. Cook, Technometrics 54 (2012), the robust test (abstract read, formula
from memory); P. A. W. Lewis and D. W. Robinson, in Reliability and Biometry (1974), the test that bears uneven gaps, as
printed by J. T. Kvaloy and B. H. Lindqvist, Technometrics 62 (2020) (their own program and data read); D. R. Cox and
P. A. W. Lewis, The Statistical Analysis of Series of Events (1966), the log-linear rate (from memory).
Checked in tests/reference/test_reference_recurrence.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from fleet.analysis.poisson import FloatArray, Interval, check_level
from fleet.analysis.recurrence import PowerLaw, TrendTest
from fleet.analysis.recurrence_windows import IndexArray, check_windows, moments_watched, unit_of_windows
from fleet.settings import LEVEL

FEWEST_UNITS = 10
"""With fewer units that failed, their differences don't say how sure a trend is."""

FEWEST_GAPS = 5
"""With fewer failures of a unit, its gaps don't say how uneven they are."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLinear:
    """A rate that grows by the same factor each unit of time: rate x exp(slope x t).

    ``sd`` is the larger of the standard error by chance and the one by how units differ; ``freedom`` belongs to it
    (infinite where too few units failed to say).
    """

    slope: float
    sd: float
    freedom: float
    n: int

    def interval(self, level: float = LEVEL) -> Interval:
        """Bound the slope."""
        check_level(level)
        step = _quantile(self.freedom, level) * self.sd
        return Interval(low=self.slope - step, high=self.slope + step, level=level, method="log-linear, unit-clustered")


def robust_trend(
    start: npt.ArrayLike,
    stop: npt.ArrayLike,
    unit: npt.ArrayLike,
    age: npt.ArrayLike,
    *,
    belongs_to: npt.ArrayLike | None = None,
) -> TrendTest | None:
    """Test for a trend without taking a unit's failures as independent; None with under FEWEST_UNITS that failed.

    Parameters are those of `fleet.analysis.recurrence.mean_cumulative`.

    Notes
    -----
    With U_i = sum t - n_i m_i of unit i (see `fleet.analysis.recurrence.laplace_trend`): z = sum U_i / sqrt(sum U_i^2),
    its p-value from Student's t with one degree of freedom less than units that failed.
    """
    windows, (owner, when) = check_windows(start, stop, unit, age)
    units = unit_of_windows(windows, belongs_to)
    pulls, n_units = _pulls(windows, units, owner, when)
    size = float((pulls**2).sum())
    if n_units < FEWEST_UNITS or not size > 0:
        return None
    z = float(pulls.sum()) / math.sqrt(size)
    return TrendTest(z=z, p_value=2.0 * float(special.stdtr(n_units - 1.0, -abs(z))), n=when.size)


def lewis_robinson_trend(
    start: npt.ArrayLike, stop: npt.ArrayLike, unit: npt.ArrayLike, age: npt.ArrayLike
) -> TrendTest | None:
    """Test for a trend in units whose gaps between failures are more, or less, even than chance makes them.

    Parameters are those of `fleet.analysis.recurrence.mean_cumulative`, one window a unit. Only units with at least
    FEWEST_GAPS failures speak; None where there is none.

    Notes
    -----
    Laplace's statistic of each unit over the coefficient of variation of its gaps (the first from the window's
    start), added up over the root of their number.
    """
    (entry, leave), (owner, when) = check_windows(start, stop, unit, age)
    found, n = [], 0
    for each in np.flatnonzero(np.bincount(owner, minlength=entry.size) >= FEWEST_GAPS):
        times = np.sort(when[owner == each]) - entry[each]
        length = float(leave[each] - entry[each])
        gaps = np.diff(times, prepend=0.0)
        spread = float(gaps.std(ddof=1) / gaps.mean())
        if spread > 0:
            found.append(float((times - 0.5 * length).sum()) / length / math.sqrt(times.size / 12.0) / spread)
            n += times.size
    if not found:
        return None
    z = float(np.sum(found)) / math.sqrt(len(found))
    return TrendTest(z=z, p_value=math.erfc(abs(z) / math.sqrt(2.0)), n=n)


def log_linear_trend(
    start: npt.ArrayLike,
    stop: npt.ArrayLike,
    unit: npt.ArrayLike,
    age: npt.ArrayLike,
    *,
    belongs_to: npt.ArrayLike | None = None,
) -> LogLinear | None:
    """Say by what factor failures grow more frequent per unit of time; None where that can't be said.

    Parameters are those of `fleet.analysis.recurrence.mean_cumulative`.

    Notes
    -----
    Given each unit's count, its failures lie in the time watched with density proportional to exp(slope x t); the
    slope is the most likely one, its error the larger of the information's and the unit-clustered one.
    """
    windows, (owner, when) = check_windows(start, stop, unit, age)
    units = unit_of_windows(windows, belongs_to)
    if when.size < 2:
        return None
    counts = np.bincount(units[owner], minlength=int(units.max()) + 1).astype(np.float64)
    failed = counts[units] > 0
    entry, leave = windows[0][failed], windows[1][failed]
    scale = float(leave.max() - entry.min())
    node = (0.5 * (leave + entry)[:, None] + 0.5 * (leave - entry)[:, None] * _NODES) / scale
    weight = 0.5 * (leave - entry)[:, None] * _WEIGHTS / scale
    whose = np.repeat(units[failed], _NODES.size)
    own = np.bincount(units[owner], weights=when / scale, minlength=counts.size).astype(np.float64)
    slope = 0.0
    for _ in range(60):
        pull, spread = _tilted(node, weight, whose, counts, own, slope)
        step = float(np.clip(pull.sum() / spread.sum(), -2.0, 2.0))
        slope += step
        if abs(step) < 1e-10:
            break
        if abs(slope) > 60.0:
            return None  # all failures at one end
    pull, spread = _tilted(node, weight, whose, counts, own, slope)
    information, n_units = float(spread.sum()), int((counts > 0).sum())
    variance, freedom = 1.0 / information, math.inf
    if n_units >= FEWEST_UNITS:
        clustered = n_units / (n_units - 1.0) * float((pull**2).sum()) / information**2
        if clustered > variance:
            variance, freedom = clustered, n_units - 1.0
    return LogLinear(slope=slope / scale, sd=math.sqrt(variance) / scale, freedom=freedom, n=when.size)


def power_law_limits(
    fit: PowerLaw,
    start: npt.ArrayLike,
    stop: npt.ArrayLike,
    unit: npt.ArrayLike,
    age: npt.ArrayLike,
    *,
    level: float = LEVEL,
    belongs_to: npt.ArrayLike | None = None,
) -> Interval:
    """Bound the shape of a power law fitted to these windows and failures (plain fit, not ``unbiased``).

    Notes
    -----
    On the log scale, the wider of the information of shape and scale together and the unit-clustered error.
    """
    check_level(level)
    windows, (owner, when) = check_windows(start, stop, unit, age)
    units = unit_of_windows(windows, belongs_to)
    longest = float(windows[1].max())
    early, late, b = windows[0] / longest, windows[1] / longest, fit.shape
    scale = fit.scale * longest**b
    number = int(units.max()) + 1
    n = np.bincount(units[owner], minlength=number).astype(np.float64)
    log_sum = np.bincount(units[owner], weights=np.log(when / longest), minlength=number)

    def over_windows(power: int) -> FloatArray:
        part = late**b * _log_power(late, power) - early**b * _log_power(early, power)
        return np.bincount(units, weights=part, minlength=number).astype(np.float64)

    plain, first, second = over_windows(0), over_windows(1), over_windows(2)
    # scores of (log scale, log shape), unit by unit
    scores = np.column_stack([n - scale * plain, n + b * log_sum - scale * b * first])
    total = float(n.sum())
    cross = b * scale * float(first.sum())
    own = b * b * scale * float(second.sum()) + cross - b * float(log_sum.sum())
    inverse = np.linalg.inv(np.array([[total, cross], [cross, own]]))
    variance, freedom, n_units = float(inverse[1, 1]), math.inf, int((n > 0).sum())
    if n_units >= FEWEST_UNITS:
        clustered = n_units / (n_units - 1.0) * float((inverse @ (scores.T @ scores) @ inverse)[1, 1])
        if clustered > variance:
            variance, freedom = clustered, n_units - 1.0
    step = math.exp(_quantile(freedom, level) * math.sqrt(variance))
    return Interval(low=b / step, high=b * step, level=level, method="power law, log shape, unit-clustered")


def _log_power(x: FloatArray, power: int) -> FloatArray:
    """Return (log x)^power, zero at zero, where x^shape makes the product vanish."""
    with np.errstate(divide="ignore"):
        return np.where(x > 0, np.log(np.maximum(x, 1e-300)) ** power, 0.0)


def _quantile(freedom: float, level: float) -> float:
    if math.isinf(freedom):
        return float(special.ndtri(0.5 + level / 2.0))
    return float(special.stdtrit(freedom, 0.5 + level / 2.0))


def _pulls(
    windows: tuple[FloatArray, FloatArray], units: IndexArray, owner: IndexArray, when: FloatArray
) -> tuple[FloatArray, int]:
    """Return each unit's failures' distance from the middle of its watch, added up, and how many units failed."""
    middle, _ = moments_watched(windows, units)
    mine = units[owner]
    pulls = np.bincount(mine, weights=when - middle[mine], minlength=middle.size).astype(np.float64)
    return pulls, int(np.unique(mine).size)


def _tilted(
    node: FloatArray, weight: FloatArray, whose: IndexArray, counts: FloatArray, own: FloatArray, slope: float
) -> tuple[FloatArray, FloatArray]:
    """Return each unit's score and information about the slope (time as a share of the whole watch)."""
    tilt = (weight * np.exp(slope * (node - node.max()))).ravel()
    flat = node.ravel()

    def summed(values: FloatArray) -> FloatArray:
        return np.bincount(whose, weights=values, minlength=counts.size).astype(np.float64)

    with np.errstate(invalid="ignore", divide="ignore"):
        mass = summed(tilt)
        mean = np.where(counts > 0, summed(tilt * flat) / mass, 0.0)
        spread = np.where(counts > 0, summed(tilt * (flat - mean[whose]) ** 2) / mass, 0.0)
    return own - counts * mean, counts * spread
