"""What share of parts still works at each age, with no law assumed? The product-limit curve with entry ages.

Also how that share divides among competing endings. Sources: E. L. Kaplan and P. Meier, J. Am. Stat. Assoc. 53
(1958); entry ages: W.-Y. Tsai, N. P. Jewell and M.-C. Wang, Biometrika 74 (1987); several endings: O. O. Aalen and
S. Johansen, Scand. J. Stat. 5 (1978) (all from memory); log-log limits: Survival Analysis: Techniques for
Censored and Truncated Data (2nd ed. 2003), section 4.3. Checked in tests/reference/test_reference_life.py against
printed tables.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import special

from fleet.analysis.poisson import FloatArray, check_level
from fleet.errors import AnalysisError
from fleet.settings import LEVEL

FEWEST_AT_RISK = 10
"""The curve begins at the first age with this many at risk: one early failure among two would send it to a half."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProductLimit:
    """The share still working after each age at which any part failed.

    Attributes
    ----------
    ages, at_risk, failures : ndarray
        Distinct ages of failure from ``starts_at`` on, parts at risk at that age, failures at it.
    survival, low, high : ndarray
        Share of those working at ``starts_at`` that still works after that age, with log-log limits (not a number
        where none or all have failed).
    starts_at, at_risk_at_start : float, int
        First age with enough at risk (zero where enough were born under watch), and how many. Survival is given it.
    ends_at, at_risk_at_end : float, int
        Last age at which enough are still at risk, and how many; beyond it the curve says little.
    """

    ages: FloatArray
    at_risk: FloatArray
    failures: FloatArray
    survival: FloatArray
    sd: FloatArray
    low: FloatArray = field(repr=False)
    high: FloatArray = field(repr=False)
    level: float
    starts_at: float
    at_risk_at_start: int
    ends_at: float
    at_risk_at_end: int

    def at(self, age: float) -> tuple[float, float, float]:
        """Return the share still working at an age, and its limits (1, 1, 1 before the first failure)."""
        place = int(np.searchsorted(self.ages, age, side="right")) - 1
        if place < 0:
            return 1.0, 1.0, 1.0
        return float(self.survival[place]), float(self.low[place]), float(self.high[place])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CumulativeIncidence:
    """The share ended by each cause up to each age, the other causes at work too.

    Attributes
    ----------
    ages, at_risk : ndarray
        Distinct ages at which a part ended, and parts at risk then.
    causes : tuple of str
    share, sd : ndarray of shape (causes, ages)
        Share of parts ended by the cause by that age, and its standard error.
    """

    ages: FloatArray
    at_risk: FloatArray
    causes: tuple[str, ...]
    share: FloatArray
    sd: FloatArray
    starts_at: float

    def at(self, age: float) -> FloatArray:
        """Return the share ended by each cause by an age."""
        place = int(np.searchsorted(self.ages, age, side="right")) - 1
        value: FloatArray = self.share[:, place] if place >= 0 else np.zeros(len(self.causes))
        return value


def product_limit(
    entry: npt.ArrayLike,
    leave: npt.ArrayLike,
    failed: npt.ArrayLike,
    *,
    level: float = LEVEL,
    fewest: int = FEWEST_AT_RISK,
) -> ProductLimit | None:
    """Estimate the share of parts still working at each age; None where there are never ``fewest`` at risk.

    Parameters
    ----------
    entry, leave : array-like of shape (lives,)
        Ages at which a part came under watch and left it.
    failed : array-like of bool
        Whether it left by failing.
    level : float
        Two-sided level of the pointwise limits.
    fewest : int
        Parts that must be at risk for the curve to begin.

    Raises
    ------
    AnalysisError
        When a life doesn't leave after it came (entry < leave), or ages are negative.

    Notes
    -----
    S(t) = product over failure ages up to t of (1 - d/n), n = lives with entry < age <= leave. Ties: a part that leaves
    unfailed at an age of failure is still at risk there; one that comes under watch at that age isn't yet. Failures
    before ``starts_at`` are left out and survival is given that age. Variance by Greenwood's sum d / (n (n - d)).
    """
    check_level(level)
    e, x, d = _checked(entry, leave, failed)
    span = _span(e, x, fewest)
    if span is None:
        return None
    starts_at, ends_at = span
    ages, which = np.unique(x[d & (x > starts_at)], return_inverse=True)
    failures = np.bincount(which, minlength=ages.size).astype(np.float64)
    at_risk = _at_risk(e, x, ages)
    survival = np.cumprod(1.0 - failures / at_risk).astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(failures / (at_risk * (at_risk - failures)))
        sd = np.where(survival > 0, survival * np.sqrt(greenwood), np.nan)
        step = special.ndtri(0.5 + level / 2.0) * np.sqrt(greenwood) / np.log(survival)
        low, high = survival ** np.exp(-step), survival ** np.exp(step)
    none_left = survival <= 0
    return ProductLimit(
        ages=ages,
        at_risk=at_risk,
        failures=failures,
        survival=survival,
        sd=sd,
        low=np.where(none_left, np.nan, low),
        high=np.where(none_left, np.nan, high),
        level=level,
        starts_at=starts_at,
        at_risk_at_start=int(((e <= starts_at) & (x > starts_at)).sum()),
        ends_at=ends_at,
        at_risk_at_end=int(_at_risk(e, x, np.array([ends_at]))[0]),
    )


def cumulative_incidence(
    entry: npt.ArrayLike,
    leave: npt.ArrayLike,
    ending: npt.ArrayLike,
    causes: tuple[str, ...],
    *,
    fewest: int = FEWEST_AT_RISK,
) -> CumulativeIncidence | None:
    """Estimate what share of parts each cause has ended by each age; None where never ``fewest`` are at risk.

    Parameters
    ----------
    entry, leave : array-like
        As for `product_limit`.
    ending : array-like of int
        Position of the cause in ``causes``; -1 = still working, or ended otherwise.
    causes : tuple of str
        The competing causes; the shares of all and the share still working add up to one.

    Notes
    -----
    Aalen and Johansen: the sum of S(t-) d_c/n, S the share not ended by any of the causes. It isn't one minus the
    product-limit curve of the cause alone, which answers what would happen with the other causes removed. The standard
    error is the delta method's (the same, equation 4.7.2, from memory), checked by simulation.
    """
    e, x, _ = _checked(entry, leave, np.ones(np.size(leave), dtype=bool))
    cause = np.asarray(ending, dtype=np.intp)
    span = _span(e, x, fewest)
    if span is None:
        return None
    counted = (cause >= 0) & (x > span[0])
    ages, which = np.unique(x[counted], return_inverse=True)
    by_cause = np.zeros((len(causes), ages.size))
    np.add.at(by_cause, (cause[counted], which), 1.0)
    at_risk = _at_risk(e, x, ages)
    ended = by_cause.sum(axis=0)
    before = np.concatenate([[1.0], np.cumprod(1.0 - ended / at_risk)])[:-1]
    share = np.cumsum(before * by_cause / at_risk, axis=1)
    return CumulativeIncidence(
        ages=ages,
        at_risk=at_risk,
        causes=causes,
        share=share,
        sd=np.sqrt(np.maximum(_incidence_variance(before, by_cause, ended, at_risk, share), 0.0)),
        starts_at=span[0],
    )


def _incidence_variance(
    before: FloatArray, by_cause: FloatArray, ended: FloatArray, at_risk: FloatArray, share: FloatArray
) -> FloatArray:
    """Sum S^2 {[F(t) - F(a)]^2 (r+d)/n^2 + [1 - 2 (F(t) - F(a))] r/n^2} with F(t) - F(a) per S, by running sums."""
    own, every = by_cause / at_risk**2, ended / at_risk**2
    squared = before**2
    # with D = F(t) - F(a): sum D^2 every + S^2 own - 2 S D own; expand D and keep running sums
    first = np.cumsum(every * np.ones_like(own), axis=1)
    by_share = np.cumsum(every * share, axis=1)
    by_square = np.cumsum(every * share**2, axis=1)
    plain = np.cumsum(squared * own, axis=1)
    mixed, mixed_share = np.cumsum(before * own, axis=1), np.cumsum(before * own * share, axis=1)
    variance: FloatArray = (
        share**2 * first - 2.0 * share * by_share + by_square + plain - 2.0 * (share * mixed - mixed_share)
    )
    return variance


def _checked(
    entry: npt.ArrayLike, leave: npt.ArrayLike, failed: npt.ArrayLike
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    x = np.asarray(leave, dtype=np.float64)
    e = np.broadcast_to(np.asarray(entry, dtype=np.float64), x.shape)
    d = np.broadcast_to(np.asarray(failed, dtype=bool), x.shape)
    bad = np.flatnonzero(~((e >= 0) & (e < x) & np.isfinite(x)))
    if bad.size:
        first = bad[0]
        msg = (
            f"{bad.size} of {x.size} lives don't leave after they came (the first: entry {e[first]:g}, leave "
            f"{x[first]:g}); check their dates"
        )
        raise AnalysisError(msg)
    return e, x, d


def _at_risk(entry: FloatArray, leave: FloatArray, ages: FloatArray) -> FloatArray:
    """Count lives with entry < age <= leave."""
    came = np.searchsorted(np.sort(entry), ages, side="left")
    left = np.searchsorted(np.sort(leave), ages, side="left")
    return (came - left).astype(np.float64)


def _span(entry: FloatArray, leave: FloatArray, fewest: int) -> tuple[float, float] | None:
    """Return the first entry after which ``fewest`` are at risk, and the last age at which they are."""
    if entry.size == 0:
        return None
    starts = np.unique(entry)
    # at risk just after an entry age: those that came by it and leave after it
    just_after = np.searchsorted(np.sort(entry), starts, side="right") - np.searchsorted(
        np.sort(leave), starts, side="right"
    )
    enough = np.flatnonzero(just_after >= fewest)
    if enough.size == 0:
        return None
    ends = np.unique(leave)
    return float(starts[enough[0]]), float(ends[_at_risk(entry, leave, ends) >= fewest].max())
