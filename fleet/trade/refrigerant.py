"""How fast a unit loses refrigerant, as a share of its full charge a year, and does a rule look at it?

Both formulas follow the definition of leak rate in 40 CFR 82.152 and 84.102 (paraphrased from secondary pages). A
small split is normally below the charge sizes those rules apply to, so the percentage is an indicator of this
shop's own, not a compliance result; one of the two methods is kept throughout. Safety classes are those of ASHRAE
Standard 34, global warming potentials those of the Fourth Assessment Report that 40 CFR part 84 refers to (both read
in secondary pages). Checked in tests/reference/test_reference_trade.py and test_reference_repeats.py.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from fleet.errors import AnalysisError

OUNCES_PER_POUND = 16.0
ROLLING_DAYS = 365
"""Days a leak rate looks back on; the annualizing formula takes at most this many too."""

COMFORT_COOLING_PCT = 10.0
"""Leak rate a year above which both rules ask for a repair of comfort cooling (40 CFR 82.157, 84.106)."""

OZONE_RULE_LB = 50.0
"""Full charge from which the rule on ozone-depleting refrigerants looks at leaks (40 CFR 82.157)."""

SUBSTITUTE_RULE_LB = 15.0
"""Full charge from which the rule on substitutes looks at leaks (40 CFR 84.106, from 1 January 2026)."""

SUBSTITUTE_RULE_GWP = 53.0
"""Global warming potential above which that rule counts a substitute."""

INDICATOR_NOTE = (
    "A leak rate worked out from a log is an indicator, not a compliance result. The federal leak-repair rules begin "
    f"at {OZONE_RULE_LB:g} lb of an ozone-depleting refrigerant (40 CFR 82.157) and at {SUBSTITUTE_RULE_LB:g} lb of a "
    f"substitute with a global warming potential above {SUBSTITUTE_RULE_GWP:g} (40 CFR 84.106, from 1 January 2026, "
    "residential and light commercial air conditioning and heat pumps left out), with "
    f"{COMFORT_COOLING_PCT:g} % a year for comfort cooling; local rules may be stricter."
)
"""What must stand beside every leak rate this tool shows (the rules as read in secondary pages)."""

RuleStanding = Literal["below", "may apply", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Refrigerant:
    """A refrigerant of small air conditioners.

    Attributes
    ----------
    name : str
        Its designation, e.g. ``R-410A``.
    ozone_depleting : bool
        Whether it is a controlled ozone-depleting substance.
    warming_potential : float
        Global warming potential, 100 years, carbon dioxide = 1.
    safety_class : str
        A1 no flame propagation, A2L mildly flammable, A3 highly flammable.
    """

    name: str
    ozone_depleting: bool
    warming_potential: float
    safety_class: str

    @property
    def flammable(self) -> bool:
        """Whether it can burn (mildly, A2L, or highly, A3)."""
        return self.safety_class != "A1"


REFRIGERANTS = MappingProxyType(
    {
        row[0]: Refrigerant(name=row[0], ozone_depleting=row[1], warming_potential=row[2], safety_class=row[3])
        for row in (
            ("R-22", True, 1810.0, "A1"),
            ("R-134a", False, 1430.0, "A1"),
            ("R-290", False, 3.3, "A3"),
            ("R-32", False, 675.0, "A2L"),
            ("R-407C", False, 1774.0, "A1"),
            ("R-410A", False, 2088.0, "A1"),
            ("R-452B", False, 698.0, "A2L"),
            ("R-454B", False, 466.0, "A2L"),
        )
    }
)
"""Those met most in small splits; one that isn't here has no class and no rule, said aloud."""


def find_refrigerant(word: str | None) -> Refrigerant | None:
    """Name the refrigerant a data plate means (``410a``, ``R 22``, ``HFC-32``); None for one not known."""
    found = re.fullmatch(r"(?:HCFC|HFC|HC|R)?(\d{2,3}[A-Z]?)", re.sub(r"[^A-Z0-9]", "", (word or "").upper()))
    if found is None:
        return None
    return next((r for r in REFRIGERANTS.values() if r.name.upper() == f"R-{found[1]}"), None)


def rule_standing(refrigerant: Refrigerant | None, full_charge_oz: float | None) -> RuleStanding:
    """Say whether a federal leak-repair rule may look at a unit at all, by its refrigerant and full charge.

    Returns
    -------
    str
        ``below`` where the charge is under the rule's size (or the substitute's warming potential under its limit),
        ``may apply`` where it isn't (the owner has to find out: residential and light commercial equipment is left
        out of the rule on substitutes), ``unknown`` where charge or refrigerant isn't known and it matters.
    """
    if full_charge_oz is None or not full_charge_oz > 0:
        return "unknown"
    charge_lb = pounds(full_charge_oz)
    if charge_lb < min(OZONE_RULE_LB, SUBSTITUTE_RULE_LB):
        return "below"
    if refrigerant is None:
        return "unknown"
    if refrigerant.ozone_depleting:
        return "may apply" if charge_lb >= OZONE_RULE_LB else "below"
    return "may apply" if refrigerant.warming_potential > SUBSTITUTE_RULE_GWP else "below"


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


def annualized_leak_pct(
    additions: Iterable[Addition],
    full_charge_oz: float,
    *,
    filled_on: dt.date | None = None,
    watched_from: dt.date | None = None,
) -> float | None:
    """Give the leak rate at the last addition, scaled to a year: added / charge x 365 / days since the one before.

    Parameters
    ----------
    additions : iterable of Addition
        Everything put into the unit, any order; additions of one day count as one.
    full_charge_oz : float
        The unit's full charge, ounces.
    filled_on : datetime.date, optional
        Last day on which the unit was filled otherwise (installed, or its circuit opened and charged again); the days
        run from it where no addition came between.
    watched_from : datetime.date, optional
        Since when an addition would have been seen. A first addition 365 days or more after it counts as 365 days
        after the one before, whenever that was.

    Returns
    -------
    float or None
        Percent of the full charge a year; None where the days since the one before aren't known, and without an
        addition. Days count as at most 365.
    """
    _check_charge(full_charge_oz)
    merged = merge_days(additions)
    if not merged:
        return None
    last = merged[-1]
    before = [addition.date for addition in merged[:-1]]
    if filled_on is not None and filled_on < last.date:
        before.append(filled_on)
    if before:
        days = (last.date - max(before)).days
    elif watched_from is not None and (last.date - watched_from).days >= ROLLING_DAYS:
        days = ROLLING_DAYS
    else:
        return None
    return 100.0 * last.ounces / full_charge_oz * ROLLING_DAYS / min(days, ROLLING_DAYS)


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
