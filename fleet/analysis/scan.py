"""Is there a place and time with more failures than the rest explains? The space-time scan of one group of failures.

Given how many failures each building had in all, and how many fell on each week over all buildings, chance alone
shuffles the weeks among the failures. Every window of a building and some weeks is compared with what the shuffle
leads to expect, by Kulldorff's likelihood ratio; only windows that begin and end on a failure need looking at, since
any other holds no more failures and expects more. Sources: M. Kulldorff, Commun. Stat. Theory Methods 26 (1997), the
likelihood ratio; M. Kulldorff et al., PLoS Medicine 2 (2005), e59, the permutation of times (from memory). Checked in
tests/reference/test_reference_clusters.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fleet.analysis.poisson import FloatArray

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """Candidate windows: building code, first and last week, failures seen and expected, log likelihood ratio."""

    building: IntArray
    first_week: IntArray
    last_week: IntArray
    observed: IntArray
    expected: FloatArray
    llr: FloatArray


def log_likelihood_ratio(observed: npt.ArrayLike, expected: npt.ArrayLike, total: float) -> FloatArray:
    """Say how much better a raised rate inside a window explains the failures than one rate for all.

    Parameters
    ----------
    observed, expected : array-like
        Failures inside the window and those expected there; all expected add up to ``total``.
    total : float
        All failures.

    Returns
    -------
    ndarray
        c log(c/e) + (C − c) log((C − c)/(C − e)), zero where no more were seen than expected.

    Source
    ------
    Kulldorff (1997), Poisson model.
    """
    c, e = np.broadcast_arrays(np.asarray(observed, dtype=np.float64), np.asarray(expected, dtype=np.float64))
    result = np.zeros(c.shape)
    high = c > e
    inside, usual = c[high], e[high]
    outside, rest = total - inside, total - usual
    with np.errstate(divide="ignore", invalid="ignore"):
        away = np.where(outside > 0, outside * np.log(outside / rest), 0.0)
    result[high] = inside * np.log(inside / usual) + away
    return result


def candidate_windows(building: IntArray, week: IntArray, *, max_weeks: int) -> Windows:
    """Return every window of one building, up to ``max_weeks`` weeks, that begins and ends on a failure.

    Windows of a single failure are none. The expected count of a window is the building's failures times the share of
    all failures that fell on its weeks.
    """
    order = np.lexsort((week, building))
    b, w = building[order], week[order]
    pieces = [_pairs(b, w[None, :], gap, max_weeks) for gap in range(1, _widest(b, w[None, :], max_weeks) + 1)]
    at = np.concatenate([np.flatnonzero(piece[0]) for piece in pieces]) if pieces else np.zeros(0, dtype=np.int64)
    gaps = np.concatenate([np.full(int(piece[0].sum()), gap) for gap, piece in enumerate(pieces, 1)]) if pieces else at
    observed = gaps + 1
    expected = _expected(b, w[None, :], at, at + gaps)[0] if at.size else np.zeros(0)
    return Windows(
        building=b[at],
        first_week=w[at],
        last_week=w[at + gaps],
        observed=observed.astype(np.int64),
        expected=expected,
        llr=log_likelihood_ratio(observed, expected, float(b.size)),
    )


def shuffled_maxima(
    building: IntArray, week: IntArray, *, max_weeks: int, rng: np.random.Generator, replicates: int
) -> FloatArray:
    """Return the largest likelihood ratio of each of ``replicates`` shuffles of the weeks among the failures."""
    b = np.sort(building)
    shuffled = rng.permuted(np.tile(week, (replicates, 1)), axis=1)
    # weeks ascend within each building once each row is sorted by building and week
    span = int(week.max()) + 1
    w = np.sort(b[None, :] * span + shuffled, axis=1) - b[None, :] * span
    best = np.zeros(replicates)
    total = float(b.size)
    for gap in range(1, _widest(b, w, max_weeks) + 1):
        fits = _pairs(b, w, gap, max_weeks)
        row, at = np.nonzero(fits)
        expected = _expected_at(b, w, row, at, at + gap)
        np.maximum.at(best, row, log_likelihood_ratio(gap + 1.0, expected, total))
    return best


def _pairs(b: IntArray, w: IntArray, gap: int, max_weeks: int) -> npt.NDArray[np.bool_]:
    """Say for each row and failure whether the failure ``gap`` places on lies in the same building and reach."""
    return (b[gap:] == b[:-gap])[None, :] & (w[:, gap:] - w[:, :-gap] < max_weeks)


def _widest(b: IntArray, w: IntArray, max_weeks: int) -> int:
    """Return the largest number of places between two failures of one window."""
    gap = 0
    while gap + 1 < b.size and _pairs(b, w, gap + 1, max_weeks).any():
        gap += 1
    return gap


def _expected(b: IntArray, w: IntArray, first: IntArray, last: IntArray) -> FloatArray:
    row = np.zeros(first.size, dtype=np.int64)
    return _expected_at(b, w, row, first, last)[None, :]


def _expected_at(b: IntArray, w: IntArray, row: IntArray, first: IntArray, last: IntArray) -> FloatArray:
    """Return building total × failures of all buildings in the window's weeks ÷ all failures."""
    # a shuffle keeps the weeks' totals, so the first row's hold for all
    running = np.concatenate([[0], np.cumsum(np.bincount(w[0]))])
    in_building = np.bincount(b)[b]
    in_weeks = running[w[row, last] + 1] - running[w[row, first]]
    return np.asarray(in_building[first] * in_weeks / b.size)
