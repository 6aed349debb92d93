"""By what factor does a group fail more often than the units outside, and which factor could the data have shown?

The exact conditional test, widened where units differ; beside every ratio the smallest one that would have been seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from fleet.analysis.poisson import FloatArray, PairMethod, compare_two_rates, sandwich_limits
from fleet.analysis.rate_limits import LARGEST_RATIO, smallest_ratio_shown


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitCounts:
    """Failures and time at risk of each unit (or unit and age band), with the number of its group."""

    groups: npt.NDArray[np.int64]
    counts: FloatArray
    years: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRatio:
    """A group's rate over that of the units it is compared with; blanks are not a number, ``note`` says why."""

    ratio: float = math.nan
    low: float = math.nan
    high: float = math.nan
    p_value: float = math.nan
    smallest_seen: float = math.nan
    note: str = ""


def group_ratio(
    group: int, units: UnitCounts, level: float, *, against: int | None, interval: PairMethod = "exact"
) -> GroupRatio:
    """Compare one group with all units outside it, or with the group ``against``.

    Notes
    -----
    Where units of a side differ more than chance makes them, interval and p-value are those of the unit-clustered
    log ratio (t with the smaller side's degrees of freedom), if wider. ``smallest_seen`` takes the pooled rate as the
    base of both sides.
    """
    if group == against:
        return GroupRatio(note="the group ratios are taken to")
    inside = units.groups == group
    outside = ~inside if against is None else units.groups == against
    n1, n0 = int(units.counts[inside].sum()), int(units.counts[outside].sum())
    t1, t0 = float(units.years[inside].sum()), float(units.years[outside].sum())
    if t1 <= 0 or t0 <= 0 or n1 + n0 == 0:
        return GroupRatio(note="not enough failures to compare" if t1 > 0 and t0 > 0 else "")
    found = compare_two_rates(n1, t1, n0, t0, level=level, method=interval)
    low, high, p = found.interval.low, found.interval.high, found.p_value
    wide = _log_spread(units, inside, outside) if n1 > 0 and n0 > 0 else None
    inflation, freedom = 1.0, math.inf
    if wide is not None:
        spread, freedom = wide
        step = float(special.stdtrit(freedom, 0.5 + level / 2)) * spread
        low, high = min(low, found.ratio * math.exp(-step)), max(high, found.ratio * math.exp(step))
        p = max(p, 2 * float(special.stdtr(freedom, -abs(math.log(found.ratio)) / spread)))
        inflation = spread**2 / (1 / n1 + 1 / n0)
    base = (n1 + n0) / (t1 + t0)
    smallest = smallest_ratio_shown(
        base * t0, base * t1, level, interval=interval, inflation=inflation, freedom=freedom
    )
    return GroupRatio(
        ratio=found.ratio if math.isfinite(found.ratio) else math.nan,
        low=low,
        high=high if math.isfinite(high) else math.nan,
        p_value=p,
        smallest_seen=smallest if math.isfinite(smallest) else math.nan,
        note=_note(low, high, smallest, n0),
    )


def _note(low: float, high: float, smallest: float, n0: int) -> str:
    if n0 == 0:
        return "none failed on the other side: the ratio has a lower bound only"
    if not low <= 1 <= high:
        return "" if math.isfinite(smallest) else f"no ratio up to {LARGEST_RATIO:.0f} was sure to show"
    if math.isinf(smallest):
        return f"can't tell from 1; this little data would not show even a ratio of {LARGEST_RATIO:.0f}"
    return f"can't tell from 1; this much data would show a ratio of {smallest:.1f} four times in five"


def _log_spread(
    units: UnitCounts, inside: npt.NDArray[np.bool_], outside: npt.NDArray[np.bool_]
) -> tuple[float, float] | None:
    """Return the unit-clustered standard error of the log ratio and its degrees of freedom."""
    chosen = inside | outside
    sides = outside[chosen].astype(np.int64)
    low, high = sandwich_limits(sides, units.counts[chosen], units.years[chosen], 0.5)
    if low.size < 2 or np.isnan(low).any():
        return None
    each = np.bincount(sides, weights=units.years[chosen] > 0)
    # half the log width over the t quantile gives each side's standard error back
    errors = np.log(high / low) / 2 / special.stdtrit(each - 1, 0.75)
    spread = float(np.sqrt((errors**2).sum()))
    # units exactly alike say nothing beyond chance
    return (spread, float(min(each) - 1)) if spread > 0 else None
