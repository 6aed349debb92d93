"""Is there a place and time with more failures than the rest explains? The space-time scan of one group of failures.

Each building's failures are taken as given, so a building that always has more is no cluster; when they fall is
compared with the weeks' usual shares (season, heat, time at risk: `fleet.analysis.scan_baseline`). Every window of a
building and some weeks is judged by Kulldorff's likelihood ratio; only windows that begin and end on a failure need
looking at, since any wider one holds no more failures and expects more. Chance is drawn as it would be without any
cluster: the same failures of each building, their weeks by the usual shares. Source: M. Kulldorff, Commun. Stat. Theory
Methods 26 (1997). Checked in tests/reference/test_reference_clusters.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from fleet.analysis.poisson import FloatArray

IntArray = npt.NDArray[np.int64]

MIN_FAILURES = 3
"""Fewer failures than this make no heap: two of a rare component in one week are common somewhere in a fleet."""

LEAST_EXPECTED = 0.1
"""A window's expected count isn't taken for less: so small a number isn't known, and three failures of a rare component
in a week would outdo every larger heap."""

_MOST_CELLS = 2_000_000
"""Drawn failures held in memory at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """Candidate windows: building code, first and last week, failures seen and expected, log likelihood ratio."""

    building: IntArray
    first_week: IntArray
    last_week: IntArray
    observed: IntArray
    expected: FloatArray
    llr: FloatArray


def log_likelihood_ratio(observed: npt.ArrayLike, expected: npt.ArrayLike, total: npt.ArrayLike) -> FloatArray:
    """Say how much better a raised rate inside a window explains the failures than one rate for all.

    Parameters
    ----------
    observed, expected : array-like
        Failures inside the window and those expected there; all expected add up to ``total``.
    total : array-like
        All failures.

    Returns
    -------
    ndarray
        c log(c/e) + (C − c) log((C − c)/(C − e)), zero where no more were seen than expected.

    Source
    ------
    Kulldorff (1997), Poisson model.
    """
    c, e, every = np.broadcast_arrays(*(np.asarray(given, dtype=np.float64) for given in (observed, expected, total)))
    result = np.zeros(c.shape)
    high = c > e
    inside, usual, whole = c[high], np.maximum(e[high], 1e-12), every[high]
    outside, rest = whole - inside, whole - usual
    with np.errstate(divide="ignore", invalid="ignore"):
        away = np.where(outside > 0, outside * np.log(outside / rest), 0.0)
    result[high] = inside * np.log(inside / usual) + away
    return result


def running_shares(shares: npt.ArrayLike) -> FloatArray:
    """Return each building's shares of its failures by week, summed up: from 0 before the first week to 1.

    Parameters
    ----------
    shares : array-like of shape (buildings, weeks)
        Not negative; a building without any share takes every week alike.
    """
    share = np.asarray(shares, dtype=np.float64)
    total = share.sum(axis=1, keepdims=True)
    even = np.full(share.shape, 1.0 / share.shape[1])
    share = np.where(total > 0, share / np.where(total > 0, total, 1.0), even)
    running = np.concatenate([np.zeros((share.shape[0], 1)), np.cumsum(share, axis=1)], axis=1)
    return np.asarray(running / running[:, -1:])


def candidate_windows(building: IntArray, week: IntArray, running: FloatArray, *, max_weeks: int) -> Windows:
    """Return every window of one building, up to ``max_weeks`` weeks, that begins and ends on a failure.

    Parameters
    ----------
    building, week : ndarray of int, shape (failures,)
        Where and when each failure was.
    running : ndarray of shape (buildings, weeks + 1)
        From `running_shares`.
    max_weeks : int
        Longest window.

    Returns
    -------
    Windows
        Only windows of `MIN_FAILURES` or more.
    """
    order = np.lexsort((week, building))
    b, w = building[order], week[order][None, :]
    first = [np.zeros(0, dtype=np.intp)]
    gaps = [np.zeros(0, dtype=np.intp)]
    for gap in range(MIN_FAILURES - 1, _widest(b, w, max_weeks) + 1):
        at = np.flatnonzero(_pairs(b, w, gap, max_weeks)[0])
        first.append(at)
        gaps.append(np.full(at.size, gap))
    at, gap_of = np.concatenate(first), np.concatenate(gaps)
    expected = _expected(b, w, (np.zeros(at.size, dtype=np.intp), at, at + gap_of), running)
    observed = (gap_of + 1).astype(np.int64)
    return Windows(
        building=b[at],
        first_week=w[0, at],
        last_week=w[0, at + gap_of],
        observed=observed,
        expected=expected,
        llr=_ratio(observed, expected, b.size),
    )


def drawn_maxima(
    building: IntArray, running: FloatArray, *, max_weeks: int, rng: np.random.Generator, replicates: int
) -> FloatArray:
    """Return the largest likelihood ratio of each of ``replicates`` fleets without a cluster."""
    at_once = max(1, _MOST_CELLS // max(building.size, 1))
    sizes = [min(at_once, replicates - done) for done in range(0, replicates, at_once)]
    return np.concatenate([_maxima(np.sort(building), running, max_weeks, rng, size) for size in sizes])


def _maxima(b: IntArray, running: FloatArray, max_weeks: int, rng: np.random.Generator, replicates: int) -> FloatArray:
    w = np.empty((replicates, b.size), dtype=np.int64)
    edges = np.concatenate([[0], np.flatnonzero(np.diff(b)) + 1, [b.size]])
    for start, end in pairwise(edges):
        drawn = np.searchsorted(running[b[start]], rng.random((replicates, end - start)), side="right") - 1
        w[:, start:end] = np.sort(np.minimum(drawn, running.shape[1] - 2), axis=1)
    best = np.zeros(replicates)
    for gap in range(MIN_FAILURES - 1, _widest(b, w, max_weeks) + 1):
        row, at = np.nonzero(_pairs(b, w, gap, max_weeks))
        expected = _expected(b, w, (row, at, at + gap), running)
        np.maximum.at(best, row, _ratio(gap + 1.0, expected, b.size))
    return best


def _ratio(observed: npt.ArrayLike, expected: FloatArray, total: int) -> FloatArray:
    return log_likelihood_ratio(observed, np.maximum(expected, LEAST_EXPECTED), float(total))


def _pairs(b: IntArray, w: IntArray, gap: int, max_weeks: int) -> npt.NDArray[np.bool_]:
    """Say for each row and failure whether the failure ``gap`` places on lies in the same building and reach."""
    return np.asarray((b[gap:] == b[:-gap])[None, :] & (w[:, gap:] - w[:, :-gap] < max_weeks))


def _widest(b: IntArray, w: IntArray, max_weeks: int) -> int:
    """Return the largest number of places between two failures of one window."""
    gap = 0
    while gap + 1 < b.size and _pairs(b, w, gap + 1, max_weeks).any():
        gap += 1
    return gap


def _expected(
    b: IntArray,
    w: IntArray,
    pairs: tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.intp]],
    running: FloatArray,
) -> FloatArray:
    """Return the building's failures × the usual share of the window's weeks, for (row, first, last) of each window."""
    row, first, last = pairs
    in_building = np.bincount(b)[b[first]] if first.size else np.zeros(0)
    share = running[b[first], w[row, last] + 1] - running[b[first], w[row, first]]
    return np.asarray(in_building * share, dtype=np.float64)
