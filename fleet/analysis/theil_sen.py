"""What is the slope of a few doubtful readings? The median of the slopes of all pairs.

Source: P. K. Sen, J. Am. Stat. Assoc. 63 (1968); checked in tests/reference/test_reference_drift.py.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fleet.analysis.poisson import FloatArray
from fleet.errors import AnalysisError


def theil_sen(x: npt.ArrayLike, y: npt.ArrayLike) -> float:
    """Return the median slope over all pairs of points; not a number where no two points differ in x.

    Raises
    ------
    AnalysisError
        When x and y differ in length.
    """
    at, value = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if at.shape != value.shape or at.ndim != 1:
        msg = f"x has shape {at.shape} and y {value.shape}; both must be lists of the same length"
        raise AnalysisError(msg)
    first, second = np.triu_indices(at.size, k=1)
    apart = at[second] - at[first]
    kept = apart != 0
    if not kept.any():
        return float("nan")
    return float(np.median((value[second] - value[first])[kept] / apart[kept]))


def weighted_median(values: FloatArray, weights: FloatArray) -> float:
    """Return the value at which half of the weight is reached; not a number where there is none."""
    if values.size == 0 or weights.sum() <= 0:
        return float("nan")
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weights[order])
    half = reached[-1] / 2.0
    at = int(np.searchsorted(reached, half))
    if reached[at] == half and at + 1 < values.size:
        return float((values[order[at]] + values[order[at + 1]]) / 2.0)
    return float(values[order[at]])
