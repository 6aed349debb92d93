"""How much of a year's calls fall into a stretch of days? Time at risk weighted by the month's share of calls.

A day in July weighs more than one in January, by what the log itself shows; the average day weighs 1. Callbacks use
it to say how many calls would have come within thirty days anyway.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.analysis.poisson import FloatArray
from fleet.settings import DAYS_PER_YEAR

IntArray = npt.NDArray[np.int64]

_SMOOTHING = 3.0
"""Calls added to each month, seen and expected alike, so that an empty month isn't taken for impossible."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonalClock:
    """A clock that runs as calls come in: ``years(from, to)`` in years of average calls.

    ``factors`` holds January to December; 1 is the average day at risk.
    """

    factors: FloatArray
    first: int
    running: FloatArray = field(repr=False)

    def years(self, from_day: npt.ArrayLike, to_day: npt.ArrayLike) -> FloatArray:
        """Return the weighted years from each day to the other, the latter not included (days as ordinals)."""
        start = np.clip(np.asarray(from_day, dtype=np.int64) - self.first, 0, self.running.size - 1)
        end = np.clip(np.asarray(to_day, dtype=np.int64) - self.first, 0, self.running.size - 1)
        return np.asarray(np.maximum(self.running[end] - self.running[start], 0.0) / DAYS_PER_YEAR)


def ordinals(days: pd.Series) -> IntArray:
    """Return days as whole numbers, one a day (0 = 1 January 1970)."""
    return pd.to_datetime(days).to_numpy().astype("datetime64[D]").astype(np.int64)


def fit_seasonal_clock(call_days: IntArray, from_days: IntArray, to_days: IntArray) -> SeasonalClock:
    """Read the months' share of calls off the log.

    Parameters
    ----------
    call_days : ndarray of int
        The day of each call (days since 1970).
    from_days, to_days : ndarray of int
        Stretches at risk, one a unit and stretch; ``to_days`` is the day after the last.

    Returns
    -------
    SeasonalClock
        Reaches from the first day at risk to a year after the last.
    """
    if from_days.size == 0:
        return SeasonalClock(factors=np.ones(12), first=0, running=np.zeros(1))
    first, end = int(from_days.min()), int(to_days.max()) + 366
    length = end - first
    steps = np.bincount(from_days - first, minlength=length + 1) - np.bincount(to_days - first, minlength=length + 1)
    at_risk = np.cumsum(steps)[:length].astype(np.float64)
    months = _months(first, length)
    days = np.bincount(months, weights=at_risk, minlength=12)
    inside = call_days[(call_days >= first) & (call_days < end)]
    seen = np.bincount(months[inside - first], minlength=12).astype(np.float64)
    usual = seen.sum() * days / max(days.sum(), 1.0)
    factors = (seen + _SMOOTHING) / (usual + _SMOOTHING)
    factors /= float(factors @ days) / max(days.sum(), 1.0)
    running = np.concatenate([[0.0], np.cumsum(factors[months])])
    return SeasonalClock(factors=factors, first=first, running=running)


def _months(first: int, length: int) -> npt.NDArray[np.intp]:
    days = np.arange(first, first + length).astype("datetime64[D]")
    return days.astype("datetime64[M]").astype(np.int64) % 12


def ordinal(day: dt.date) -> int:
    """Return one day as a whole number (0 = 1 January 1970)."""
    return (day - dt.date(1970, 1, 1)).days
