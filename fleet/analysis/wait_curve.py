"""How long do waits last when some haven't ended? Median, nine in ten, and the mean of the first so many hours.

Sources: the product-limit curve (`fleet.analysis.product_limit`); limits of the median by R. Brookmeyer and J. Crowley,
Biometrics 38 (1982), from the log-log limits; the restricted mean and its variance, J. O. Irwin (1949) and E. L.
Kaplan and P. Meier (1958) (all from memory). Checked in tests/reference/test_reference_repeats.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from fleet.analysis.poisson import FloatArray
from fleet.analysis.product_limit import ProductLimit, product_limit
from fleet.settings import LEVEL

FEWEST_WAITS = 5
"""Fewer waits than this make no curve."""


SURE_SHARE = 0.05
"""A mean that could be off by more than this share, for want of an end, isn't given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitSummary:
    """What a set of waits, some of them unfinished, says of how long one lasts (hours; not a number where it can't).

    Attributes
    ----------
    median, low, high : float
        The time by which half have ended, with its limits; ``high`` isn't a number where the curve doesn't say.
    p90 : float
        The time by which nine in ten have ended.
    mean, mean_sd : float
        Hours waited within the first ``cap`` hours, and the standard error.
    """

    median: float
    low: float
    high: float
    p90: float
    mean: float
    mean_sd: float


NOTHING = WaitSummary(median=np.nan, low=np.nan, high=np.nan, p90=np.nan, mean=np.nan, mean_sd=np.nan)


def summarise_waits(
    hours: npt.ArrayLike, done: npt.ArrayLike, *, cap: float, level: float = LEVEL, fewest: int = FEWEST_WAITS
) -> WaitSummary:
    """Sum up waits of which some lasted at least so long.

    Parameters
    ----------
    hours : array-like
        Hours waited, above zero.
    done : array-like of bool
        Whether the wait ended then; else it lasted at least so long.
    cap : float
        The mean counts the first so many hours of each wait.
    level : float
        Two-sided level of the limits of the median.
    fewest : int
        With fewer waits nothing is estimated.

    Notes
    -----
    Where the longest wait is unfinished and shorter than ``cap`` the curve doesn't say what came after: the share that
    still waits is taken to wait on, and the mean is blank where that could change it by over `SURE_SHARE`.
    """
    waited = np.asarray(hours, dtype=np.float64)
    curve = product_limit(0.0, waited, done, level=level, fewest=fewest) if waited.size >= fewest else None
    if curve is None or curve.ages.size == 0:
        return NOTHING
    mean, sd = _restricted_mean(curve, float(waited.max()), cap)
    return WaitSummary(
        median=_first(curve.ages, curve.survival, 0.5),
        # where none is left the lower limit is below any share, the upper isn't known
        low=_first(curve.ages, np.where(curve.survival <= 0, 0.0, curve.low), 0.5),
        high=_first(curve.ages, curve.high, 0.5),
        p90=_first(curve.ages, curve.survival, 0.1),
        mean=mean,
        mean_sd=sd,
    )


def compare_medians(one: WaitSummary, other: WaitSummary) -> tuple[float, float, float]:
    """Return by how many hours one median exceeds another, with limits recovered from those of the two.

    Source
    ------
    G. Y. Zou and A. Donner, Stat. Med. 27 (2008): the distances to the limits add up as squares (from memory).
    """
    difference = one.median - other.median
    below = float(np.hypot(one.median - one.low, other.high - other.median))
    above = float(np.hypot(one.high - one.median, other.median - other.low))
    return difference, difference - below, difference + above


def compare_means(one: WaitSummary, other: WaitSummary, level: float = LEVEL) -> tuple[float, float, float]:
    """Return by how many hours one mean exceeds another, with normal limits; not a number where one is blank."""
    difference = one.mean - other.mean
    half = float(special.ndtri(0.5 + level / 2)) * float(np.hypot(one.mean_sd, other.mean_sd))
    return difference, difference - half, difference + half


def _first(ages: FloatArray, share: FloatArray, limit: float) -> float:
    """Return the first age at which a falling curve has come down to a share (a hair above it counts: rounding)."""
    reached = np.flatnonzero(share <= limit + 1e-12)
    return float(ages[reached[0]]) if reached.size else np.nan


def _restricted_mean(curve: ProductLimit, longest: float, cap: float) -> tuple[float, float]:
    """Return the area under the curve up to ``cap`` and its standard error."""
    inside = curve.ages < cap
    ages, survival = curve.ages[inside], curve.survival[inside]
    steps = np.diff(np.concatenate([[0.0], ages, [cap]]))
    areas = steps * np.concatenate([[1.0], survival])
    unsure = float(curve.survival[-1]) * max(cap - longest, 0.0)
    if unsure > SURE_SHARE * areas.sum():
        return np.nan, np.nan
    ahead = np.cumsum(areas[::-1])[::-1][1:]
    failures, at_risk = curve.failures[inside], curve.at_risk[inside]
    left = at_risk - failures
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(left > 0, ahead**2 * failures / (at_risk * left), 0.0)
    return float(areas.sum()), float(np.sqrt(terms.sum()))
