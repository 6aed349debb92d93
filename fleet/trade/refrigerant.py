"""How fast a unit loses refrigerant, as a share of its full charge a year.

Both formulas follow the definition of leak rate in 40 CFR 82.152 and 84.102 (paraphrased from secondary pages). A
small split is normally below the charge sizes those rules apply to, so the percentage is an indicator of this
shop's own, not a compliance result; one of the two methods is kept throughout. Checked in
tests/reference/test_reference_trade.py against an example worked by hand.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass

from fleet.errors import AnalysisError

OUNCES_PER_POUND = 16.0
ROLLING_DAYS = 365
"""Days a leak rate looks back on; the annualizing formula takes at most this many too."""


@dataclass(frozen=True, slots=True, order=True)
class Addition:
    """Refrigerant put into one unit on one day, ounces."""

    date: dt.date
    ounces: float


def pounds(ounces: float) -> float:
    """Turn ounces into pounds."""
    return ounces / OUNCES_PER_POUND


def ounces(pounds: float, ounces: float = 0.0) -> float:
    """Turn pounds and ounces into ounces."""
    return pounds * OUNCES_PER_POUND + ounces


def merge_days(additions: Iterable[Addition]) -> tuple[Addition, ...]:
    """Add up what was put in on the same day, in order of days (zero days between additions have no rate).

    Raises
    ------
    AnalysisError
        When an amount is negative or not finite.
    """
    totals: dict[dt.date, float] = {}
    for addition in additions:
        if not 0 <= addition.ounces < math.inf:
            msg = f"{addition.ounces} oz added on {addition.date} must be zero or more"
            raise AnalysisError(msg)
        totals[addition.date] = totals.get(addition.date, 0.0) + addition.ounces
    return tuple(Addition(day, amount) for day, amount in sorted(totals.items()) if amount > 0)


def annualized_leak_pct(additions: Iterable[Addition], full_charge_oz: float) -> float | None:
    """Give the leak rate at the last addition, scaled to a year: added / charge x 365 / days since the one before.

    Parameters
    ----------
    additions : iterable of Addition
        Everything put into the unit, any order; additions of one day count as one.
    full_charge_oz : float
        The unit's full charge, ounces.

    Returns
    -------
    float or None
        Percent of the full charge a year; None under two additions (the days since the one before aren't known).
        Days count as at most 365.
    """
    _check_charge(full_charge_oz)
    merged = merge_days(additions)
    if len(merged) < 2:
        return None
    days = min((merged[-1].date - merged[-2].date).days, ROLLING_DAYS)
    return 100.0 * merged[-1].ounces / full_charge_oz * ROLLING_DAYS / days


def rolling_leak_pct(
    additions: Iterable[Addition], full_charge_oz: float, *, as_of: dt.date, verified_on: dt.date | None = None
) -> float:
    """Give what was added in the last 365 days as percent of the full charge.

    Parameters
    ----------
    additions : iterable of Addition
        Everything put into the unit; what is later than ``as_of`` is left out.
    full_charge_oz : float
        The unit's full charge, ounces.
    as_of : datetime.date
        The last day looked at.
    verified_on : datetime.date, optional
        Day of the last passed follow-up verification; only what was added after it counts.
    """
    _check_charge(full_charge_oz)
    after = as_of - dt.timedelta(days=ROLLING_DAYS)
    if verified_on is not None:
        after = max(after, verified_on)
    added = sum(addition.ounces for addition in merge_days(additions) if after < addition.date <= as_of)
    return 100.0 * added / full_charge_oz


def _check_charge(full_charge_oz: float) -> None:
    if not 0 < full_charge_oz < math.inf:
        msg = f"full charge = {full_charge_oz} oz must be above zero; take it from the data plate"
        raise AnalysisError(msg)
