"""How much cooling did a day ask for? Cooling degree days from its high and low.

A day's mean is (high + low)/2 and its cooling degree days are what the mean has above 65 F. Sources: definition as
published by the US National Weather Service and city utilities; the whole-degree practice of its climate forms is from
memory. Other methods (hourly means) differ by over 10 %, so the method is named wherever a value is shown.
Checked in tests/reference/test_reference_weather.py.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fleet.errors import AnalysisError

FloatArray = npt.NDArray[np.float64]

BASE_F = 65.0
"""Degrees Fahrenheit above which a day's mean counts."""

BASE_C = 18.3
"""The base printed in metric tables (65 F is 18.333... C)."""


def fahrenheit(celsius: npt.ArrayLike) -> FloatArray:
    """Turn degrees Celsius into degrees Fahrenheit."""
    return np.asarray(celsius, dtype=np.float64) * 1.8 + 32.0


def cooling_degree_days(
    high: npt.ArrayLike, low: npt.ArrayLike, *, base: float = BASE_F, whole_degrees: bool = False
) -> FloatArray:
    """Give each day's cooling degree days.

    Parameters
    ----------
    high, low : array-like
        Highest and lowest temperature of each day, in the unit of ``base`` (`fahrenheit` turns Celsius round).
    base : float
        65 in Fahrenheit; pass `BASE_C` with Celsius, and the answer is in Celsius degree days.
    whole_degrees : bool
        Round high, low and mean to whole degrees, halves up, as climate forms do.

    Returns
    -------
    ndarray
        Degree days, never negative; not a number where the high or low is missing.

    Raises
    ------
    AnalysisError
        When a low is above its high.
    """
    top, bottom = np.broadcast_arrays(np.asarray(high, dtype=np.float64), np.asarray(low, dtype=np.float64))
    crossed = bottom > top
    if crossed.any():
        first = int(np.flatnonzero(crossed)[0])
        where = f"the first has high {top.flat[first]:g} and low {bottom.flat[first]:g}"
        msg = f"{int(crossed.sum())} of {top.size} days have a low above their high ({where}); mend or drop them"
        raise AnalysisError(msg)
    if whole_degrees:
        mean = _round_half_up(0.5 * (_round_half_up(top) + _round_half_up(bottom)))
    else:
        mean = 0.5 * (top + bottom)
    return np.maximum(mean - base, 0.0)


def _round_half_up(values: FloatArray) -> FloatArray:
    rounded: FloatArray = np.floor(values + 0.5)
    return rounded
