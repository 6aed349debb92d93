"""What could the scan see here at all? The chance that a heap of a size is named, and the smallest that mostly is.

A fleet of small buildings has few failures a building and quarter; most heaps that matter to a person are too small to
be told from chance. So beside "nothing found" stands what would have been found.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import stats

from fleet.analysis.poisson import FloatArray
from fleet.analysis.scan import LEAST_EXPECTED, MIN_FAILURES, log_likelihood_ratio

MOSTLY = 0.80
"""A heap that is mostly found is found four times in five."""

RATIOS = np.concatenate([np.arange(1.2, 6.0, 0.1), np.arange(6.0, 20.5, 0.5), np.arange(21.0, 61.0, 1.0)])
"""Ratios tried for the smallest that is mostly found."""

_TAIL = 1e-9


def chance_found(
    inside: npt.ArrayLike, outside: npt.ArrayLike, *, ratio: float, elsewhere: float, critical: float
) -> FloatArray:
    """Return the chance that a heap of ``ratio`` times the usual is named.

    Parameters
    ----------
    inside, outside : array-like
        Usual failures of the building inside the heap's weeks and in its other weeks.
    ratio : float
        How many times the usual the heap brings.
    elsewhere : float
        Failures of the component in all other buildings.
    critical : float
        Log likelihood ratio from which on a window is named.

    Returns
    -------
    ndarray
        Counts inside and outside are Poisson; the building's failures, heap included, are taken as given, as the scan
        takes them. Only the heap's own weeks are tried, so the scan itself finds a little more.
    """
    here, rest = np.broadcast_arrays(np.asarray(inside, dtype=np.float64), np.asarray(outside, dtype=np.float64))
    found = [_one(a, b, ratio, elsewhere, critical) for a, b in zip(here.ravel(), rest.ravel(), strict=True)]
    return np.array(found, dtype=np.float64).reshape(here.shape)


def smallest_found(inside: float, outside: float, *, elsewhere: float, critical: float) -> float:
    """Return the smallest ratio that is found four times in five; infinite where none tried (up to 60) is."""
    low, high = 0, RATIOS.size
    while low < high:
        middle = (low + high) // 2
        if _one(inside, outside, float(RATIOS[middle]), elsewhere, critical) >= MOSTLY:
            high = middle
        else:
            low = middle + 1
    return float(RATIOS[low]) if low < RATIOS.size else float("inf")


def _one(inside: float, outside: float, ratio: float, elsewhere: float, critical: float) -> float:
    if inside <= 0:
        return 0.0
    share = inside / (inside + outside)
    seen = np.arange(MIN_FAILURES, int(stats.poisson.isf(_TAIL, ratio * inside)) + 2)
    others = np.arange(int(stats.poisson.isf(1.0 - _TAIL, outside)), int(stats.poisson.isf(_TAIL, outside)) + 2)
    c, o = np.meshgrid(seen, others, indexing="ij")
    expected = np.maximum((c + o) * share, LEAST_EXPECTED)
    # the ratio of a window weighs it against all failures of the component
    llr = log_likelihood_ratio(c, expected, c + o + elsewhere)
    chance = stats.poisson.pmf(seen, ratio * inside)[:, None] * stats.poisson.pmf(others, outside)[None, :]
    return float(np.minimum(chance[llr >= critical].sum(), 1.0))
