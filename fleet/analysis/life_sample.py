"""How likely are the lives seen, under a law? Entry ages, exact failures, and every kind of censoring.

A life is watched from age ``entry`` and its failure known to lie between ages ``low`` and ``high``: exact (equal),
after ``low`` (``high`` infinite), between two looks, or before the first look (``low`` = ``entry``). It adds
log f(x) - log S(e), log S(low) - log S(e), or log [S(low) - S(high)] - log S(e).
Source: Survival Analysis: Techniques for Censored and Truncated Data (2nd ed. 2003), section 3.5, equations 3.5.1 and
3.5.6 (from memory). Checked in tests/reference/test_reference_life.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from fleet.analysis.life_laws import Law
from fleet.analysis.poisson import FloatArray
from fleet.errors import AnalysisError

IndexArray = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LifeSample:
    """Lives of parts, one entry a life; ages in years.

    Attributes
    ----------
    entry : ndarray
        Age at which watching began; 0 when it was born under watch.
    low, high : ndarray
        Ages between which it failed: equal = exact, ``high`` infinite = not yet failed at ``low``.
    """

    entry: FloatArray = field(repr=False)
    low: FloatArray = field(repr=False)
    high: FloatArray = field(repr=False)

    @property
    def failures(self) -> int:
        """How many of the lives ended in a failure, exactly dated or not."""
        return int(np.isfinite(self.high).sum())

    @property
    def years(self) -> float:
        """Part-years watched."""
        return float((self.low - self.entry).sum())

    def __len__(self) -> int:
        """Return the number of lives."""
        return self.entry.size


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LifeTerms:
    """A sample's log-likelihood as sums over distinct ages: what a hundred thousand lives come down to."""

    event_age: FloatArray
    event_weight: FloatArray
    survived_age: FloatArray
    survived_weight: FloatArray
    interval_low: FloatArray
    interval_high: FloatArray
    interval_weight: FloatArray


def life_sample(entry: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike | None = None) -> LifeSample:
    """Check lives and hold them as a sample.

    Parameters
    ----------
    entry, low, high : array-like of shape (lives,)
        See `LifeSample`; without ``high`` every life ended in a failure at ``low``.

    Raises
    ------
    AnalysisError
        When ages are negative, out of order (entry <= low <= high), or a life failed at the very age it came under
        watch. Lives still working at the age they came under watch say nothing and are dropped without an error.
    """
    e, x = np.broadcast_arrays(np.asarray(entry, dtype=np.float64), np.asarray(low, dtype=np.float64))
    u = x if high is None else np.broadcast_to(np.asarray(high, dtype=np.float64), x.shape)
    bad = np.flatnonzero(~((e >= 0) & np.isfinite(e) & (e <= x) & np.isfinite(x) & (x <= u)) | ((u <= e) & (u == x)))
    if bad.size:
        first = bad[0]
        msg = (
            f"{bad.size} of {x.size} lives can't be used (the first has entry {e[first]:g}, low {x[first]:g}, high "
            f"{u[first]:g}): ages must be 0 <= entry <= low <= high, and a failure after its entry; check the dates"
        )
        raise AnalysisError(msg)
    silent = (x == e) & np.isinf(u)
    return LifeSample(entry=e[~silent], low=x[~silent], high=u[~silent])


def life_terms(sample: LifeSample, weights: FloatArray | None = None) -> LifeTerms:
    """Collapse a sample to its distinct ages; ``weights`` (one a life) weigh lives, as a weighted bootstrap does."""
    w = np.ones(len(sample)) if weights is None else weights
    exact = sample.low == sample.high
    censored = np.isinf(sample.high)
    between = ~exact & ~censored
    late = sample.entry > 0
    event_age, event_weight = _collapsed(sample.low[exact], w[exact])
    survived_age, survived_weight = _collapsed(
        np.concatenate([sample.low[censored], sample.entry[late]]), np.concatenate([w[censored], -w[late]])
    )
    pairs = np.column_stack([sample.low[between], sample.high[between]])
    pair, where = np.unique(pairs, axis=0, return_inverse=True)
    return LifeTerms(
        event_age=event_age,
        event_weight=event_weight,
        survived_age=survived_age,
        survived_weight=survived_weight,
        interval_low=pair[:, 0],
        interval_high=pair[:, 1],
        interval_weight=np.bincount(where.reshape(-1), weights=w[between], minlength=len(pair)).astype(np.float64),
    )


def log_likelihood(law: Law, theta: FloatArray, terms: LifeTerms) -> tuple[float, FloatArray]:
    """Return the log-likelihood of the lives under a law, and its gradient in (log scale, log shape)."""
    shape = float(np.exp(theta[1]))
    z, z_survived = law.standard(theta, terms.event_age), law.standard(theta, terms.survived_age)
    log_rate = law.log_rate(z)
    value = float(
        terms.event_weight @ (log_rate - law.cumulative(z) + theta[1] - np.log(terms.event_age))
        - terms.survived_weight @ law.cumulative(z_survived)
    )
    by_event = terms.event_weight * (law.log_rate_slope(z) - np.exp(log_rate))
    by_survived = -terms.survived_weight * np.exp(law.log_rate(z_survived))
    gradient = np.array(
        [
            -shape * (by_event.sum() + by_survived.sum()),
            by_event @ z + by_survived @ z_survived + terms.event_weight.sum(),
        ]
    )
    if terms.interval_weight.size:
        more, more_gradient = _interval_part(law, theta, terms)
        return value + more, gradient + more_gradient
    return value, gradient


def log_likelihoods(law: Law, thetas: FloatArray, terms: LifeTerms) -> FloatArray:
    """Return the log-likelihood alone at several (log scale, log shape), an array of shape (n, 2)."""
    z = law.standard(thetas, terms.event_age)
    constant = float(terms.event_weight @ np.log(terms.event_age))
    by_event = (law.log_rate(z) - law.cumulative(z)) @ terms.event_weight
    survived = law.cumulative(law.standard(thetas, terms.survived_age)) @ terms.survived_weight
    value: FloatArray = by_event + thetas[:, 1] * terms.event_weight.sum() - constant - survived
    if terms.interval_weight.size:
        h_low = law.cumulative(law.standard(thetas, terms.interval_low))
        gap = np.maximum(law.cumulative(law.standard(thetas, terms.interval_high)) - h_low, 1e-300)
        value = value + (np.log(-np.expm1(-gap)) - h_low) @ terms.interval_weight
    return value


def _interval_part(law: Law, theta: FloatArray, terms: LifeTerms) -> tuple[float, FloatArray]:
    z_low, z_high = law.standard(theta, terms.interval_low), law.standard(theta, terms.interval_high)
    h_low, h_high = law.cumulative(z_low), law.cumulative(z_high)
    # a step of zero hazard would be an impossible event: keep its log finite so that the search can walk away
    gap = np.maximum(h_high - h_low, 1e-300)
    value = float(terms.interval_weight @ (np.log(-np.expm1(-gap)) - h_low))
    odds = terms.interval_weight / np.expm1(np.minimum(gap, 700.0))
    by_low = -np.exp(law.log_rate(z_low)) * (terms.interval_weight + odds)
    by_high = np.exp(law.log_rate(z_high)) * odds
    shape = np.exp(theta[1])
    return value, np.array([-shape * (by_low.sum() + by_high.sum()), by_low @ z_low + by_high @ z_high])


def _collapsed(ages: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    distinct, where = np.unique(ages, return_inverse=True)
    summed: FloatArray = np.bincount(where, weights=weights, minlength=distinct.size).astype(np.float64)
    return distinct, summed
