"""How likely are the lives seen, under a law? Entry ages, exact failures, and every kind of censoring.

A life is watched from age ``entry`` and its failure known to lie between ages ``low`` and ``high``: exact (equal),
after ``low`` (``high`` infinite), between two looks, or before the first look (``low`` = ``entry``). It adds
log f(x) - log S(e), log S(low) - log S(e), or log [S(low) - S(high)] - log S(e).
Source: Survival Analysis: Techniques for Censored and Truncated Data (2nd ed. 2003), section 3.5, equations 3.5.1 and
3.5.6 (from memory). Checked in tests/reference/test_reference_life.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from fleet.analysis.life_laws import Law
from fleet.analysis.poisson import FloatArray
from fleet.errors import AnalysisError

IndexArray = npt.NDArray[np.intp]

MOST_LIVES_ONE_BY_ONE = 20_000
"""A sample of more lives than this is summed over cells of age, each standing at the mean age of its lives: B10 and its
limits then move by less than a thousandth part, see tests/unit/test_life_cells.py."""

_CELL = 0.01
_YOUNGEST = 1e-6


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
    collapsed = _distinct_ages if len(sample) <= MOST_LIVES_ONE_BY_ONE else _cells
    exact = sample.low == sample.high
    censored = np.isinf(sample.high)
    between = ~exact & ~censored
    late = sample.entry > 0
    (event_age,), event_weight = collapsed((sample.low[exact],), w[exact])
    (last_age,), last_weight = collapsed((sample.low[censored],), w[censored])
    (entry_age,), entry_weight = collapsed((sample.entry[late],), w[late])
    (interval_low, interval_high), interval_weight = collapsed((sample.low[between], sample.high[between]), w[between])
    return LifeTerms(
        event_age=event_age,
        event_weight=event_weight,
        survived_age=np.concatenate([last_age, entry_age]),
        survived_weight=np.concatenate([last_weight, -entry_weight]),
        interval_low=interval_low,
        interval_high=interval_high,
        interval_weight=interval_weight,
    )


def log_likelihood(law: Law, theta: FloatArray, terms: LifeTerms) -> tuple[float, FloatArray]:
    """Return the log-likelihood of the lives under a law, and its gradient in (log scale, log shape)."""
    return expand_log_likelihood(law, theta, terms)[:2]


def expand_log_likelihood(law: Law, theta: FloatArray, terms: LifeTerms) -> tuple[float, FloatArray, FloatArray]:
    """Return the log-likelihood of the lives under a law, its gradient and its Hessian in (log scale, log shape)."""
    shape = math.exp(theta[1])
    z, z_survived = law.standard(theta, terms.event_age), law.standard(theta, terms.survived_age)
    weight, log_rate, log_rate_survived = terms.event_weight, law.log_rate(z), law.log_rate(z_survived)
    value = float(
        weight @ (log_rate - law.cumulative(z) + theta[1] - np.log(terms.event_age))
        - terms.survived_weight @ law.cumulative(z_survived)
    )
    rate, slope = np.exp(log_rate), law.log_rate_slope(z)
    by_survived = -terms.survived_weight * np.exp(log_rate_survived)
    gradient, hessian = _in_logs(z, weight * (slope - rate), weight * (law.log_rate_bend(z) - slope * rate), shape)
    more, more_hessian = _in_logs(z_survived, by_survived, by_survived * law.log_rate_slope(z_survived), shape)
    gradient, hessian = gradient + more, hessian + more_hessian
    gradient[1] += weight.sum()
    if terms.interval_weight.size:
        between, more, more_hessian = _interval_part(law, theta, terms)
        return value + between, gradient + more, hessian + more_hessian
    return value, gradient, hessian


def _in_logs(z: FloatArray, first: FloatArray, second: FloatArray, shape: float) -> tuple[FloatArray, FloatArray]:
    """Turn derivatives in z, summed over lives, into gradient and Hessian in (log scale, log shape)."""
    along, bend = float(first.sum()), float(second.sum())
    by_shape, bend_by_shape = float(first @ z), float(second @ z)
    cross = -shape * (along + bend_by_shape)
    hessian = [[shape**2 * bend, cross], [cross, by_shape + float(second @ z**2)]]
    return np.array([-shape * along, by_shape]), np.array(hessian)


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


def _interval_part(law: Law, theta: FloatArray, terms: LifeTerms) -> tuple[float, FloatArray, FloatArray]:
    z_low, z_high = law.standard(theta, terms.interval_low), law.standard(theta, terms.interval_high)
    h_low, h_high = law.cumulative(z_low), law.cumulative(z_high)
    # a step of zero hazard would be an impossible event: keep its log finite so that the search can walk away
    gap = np.maximum(h_high - h_low, 1e-300)
    weight, shape = terms.interval_weight, math.exp(theta[1])
    value = float(weight @ (np.log(-np.expm1(-gap)) - h_low))
    odds = 1.0 / np.expm1(np.minimum(gap, 700.0))
    rate_low, rate_high = np.exp(law.log_rate(z_low)), np.exp(law.log_rate(z_high))
    first_low, first_high = -weight * rate_low * (1.0 + odds), weight * rate_high * odds
    bend = weight * odds * (1.0 + odds)
    second_low = first_low * law.log_rate_slope(z_low) - bend * rate_low**2
    second_high = first_high * law.log_rate_slope(z_high) - bend * rate_high**2
    gradient, hessian = _in_logs(z_low, first_low, second_low, shape)
    more, more_hessian = _in_logs(z_high, first_high, second_high, shape)
    # both ends move together
    both = bend * rate_low * rate_high
    cross = -shape * float(both @ (z_low + z_high))
    together = [[2.0 * shape**2 * float(both.sum()), cross], [cross, 2.0 * float(both @ (z_low * z_high))]]
    return value, gradient + more, hessian + more_hessian + np.array(together)


def distinct_codes(codes: IndexArray) -> tuple[IndexArray, IndexArray]:
    """Return the distinct small whole numbers and each one's place among them, without sorting."""
    present = np.zeros(int(codes.max(initial=-1)) + 1, dtype=bool)
    present[codes] = True
    place = np.cumsum(present) - 1
    return np.flatnonzero(present), place[codes]


def _distinct_ages(ages: tuple[FloatArray, ...], weights: FloatArray) -> tuple[list[FloatArray], FloatArray]:
    """Return the distinct ages (or combinations of ages) and the summed weight of each."""
    if len(ages) == 1:
        distinct, where = np.unique(ages[0], return_inverse=True)
        rows = distinct[:, None]
    else:
        rows, where = np.unique(np.column_stack(ages), axis=0, return_inverse=True)
    summed = np.bincount(where.reshape(-1), weights=weights, minlength=len(rows)).astype(np.float64)
    return list(rows.T), summed


def _cells(ages: tuple[FloatArray, ...], weights: FloatArray) -> tuple[list[FloatArray], FloatArray]:
    """Return the mean ages in cells a hundredth wide in the log of age, and the summed weight of each cell."""
    where, count = np.zeros(weights.size, dtype=np.intp), 1
    for each in ages:
        code = np.rint(np.log(np.maximum(each, _YOUNGEST)) / _CELL).astype(np.intp)
        kept, place = distinct_codes(code - code.min(initial=0))
        _, where = distinct_codes(where * kept.size + place)
        count = int(where.max(initial=-1)) + 1
    weight = np.bincount(where, weights=weights, minlength=count).astype(np.float64)
    sums = [np.bincount(where, weights=weights * each, minlength=count) for each in ages]
    told = weight > 0
    return [total[told] / weight[told] for total in sums], weight[told]
