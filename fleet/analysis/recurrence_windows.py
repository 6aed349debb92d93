"""When was each unit watched? Windows of time, what fell into them, and the errors of both.

Everything here is shared by `fleet.analysis.recurrence` and `fleet.analysis.trends`. A window is open at its start and
closed at its stop; a unit may have several, with holes between them in which nobody looked.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fleet.analysis.poisson import FloatArray
from fleet.errors import AnalysisError

IndexArray = npt.NDArray[np.intp]


def check_windows(
    start: npt.ArrayLike, stop: npt.ArrayLike, unit: npt.ArrayLike, age: npt.ArrayLike
) -> tuple[tuple[FloatArray, FloatArray], tuple[IndexArray, FloatArray]]:
    """Return windows and failures as arrays, or name up to five that can't be used."""
    entry, leave = np.asarray(start, dtype=np.float64), np.asarray(stop, dtype=np.float64)
    owner, when = np.asarray(unit, dtype=np.intp), np.asarray(age, dtype=np.float64)
    if entry.shape != leave.shape or owner.shape != when.shape or entry.size == 0:
        msg = f"{entry.size} starts and {leave.size} stops, {owner.size} owners and {when.size} ages: pairs must agree"
        raise AnalysisError(msg)
    empty = np.flatnonzero(~((entry >= 0) & (leave > entry) & np.isfinite(leave)))
    if empty.size:
        msg = f"{empty.size} of {entry.size} windows have no start before stop (units {_first_five(empty)})"
        raise AnalysisError(msg)
    strange = np.flatnonzero((owner < 0) | (owner >= entry.size))
    if strange.size:
        msg = f"{strange.size} failures belong to no window (failures {_first_five(strange)})"
        raise AnalysisError(msg)
    outside = np.flatnonzero(~((when > entry[owner]) & (when <= leave[owner])))
    if outside.size:
        msg = (
            f"{outside.size} of {when.size} failures lie outside their unit's window (failures {_first_five(outside)})"
        )
        raise AnalysisError(msg)
    return (entry, leave), (owner, when)


def unit_of_windows(windows: tuple[FloatArray, FloatArray], belongs_to: npt.ArrayLike | None) -> IndexArray:
    """Return the number of the unit each window belongs to, or say (AnalysisError) that windows of one overlap."""
    entry, leave = windows
    if belongs_to is None:
        return np.arange(entry.size)
    units = np.asarray(belongs_to, dtype=np.intp)
    if units.shape != entry.shape or (units < 0).any():
        msg = f"{units.size} owners of {entry.size} windows: one whole number from 0 a window is needed"
        raise AnalysisError(msg)
    order = np.lexsort((entry, units))
    crossed = (units[order][1:] == units[order][:-1]) & (entry[order][1:] < leave[order][:-1])
    if crossed.any():
        where = _first_five(units[order][1:][crossed])
        msg = f"{int(crossed.sum())} windows overlap another of their unit (units {where})"
        raise AnalysisError(msg)
    return units


def moments_watched(windows: tuple[FloatArray, FloatArray], units: IndexArray) -> tuple[FloatArray, FloatArray]:
    """Return, for each unit, mean and variance of a moment picked at random from the time it was watched."""
    entry, leave = windows

    def summed(values: FloatArray) -> FloatArray:
        return np.bincount(units, weights=values).astype(np.float64)

    with np.errstate(invalid="ignore"):
        length = summed(leave - entry)
        middle = summed((leave - entry) * 0.5 * (leave + entry)) / length
        away = 0.5 * (leave + entry) - middle[units]
        spread = summed((leave - entry) * (away**2 + (leave - entry) ** 2 / 12.0)) / length
    return middle, spread


def _first_five(positions: IndexArray) -> str:
    return ", ".join(map(str, positions[:5])) + (", ..." if positions.size > 5 else "")
