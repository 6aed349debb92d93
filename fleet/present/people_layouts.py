"""Which columns does a narrow table show of refrigerant and of heat on people, and which go first?"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fleet.present.shown import PROPERTY, Shown, interval, one, shares, text

PEOPLE: Mapping[str, tuple[Shown, ...]] = MappingProxyType(
    {
        "refrigerant": (
            text("property", 6),
            text("building", 3, "bldg"),
            text("equipment_id", 1, "unit"),
            text("refrigerant", 2),
            one("estimate", "charge_oz", 5, "charge, oz"),
            one("count", "top_ups", 1, "top-ups"),
            one("estimate", "top_up_oz", 2, "oz"),
            interval("oz a year", ("oz_per_year", "low", "high"), 3),
            one("date", "last_on", 4, "last"),
            one("estimate", "annualized_pct", 4, "annualized, % a year"),
            one("estimate", "rolling_pct", 4, "rolling, % a year"),
            one("estimate", "rolling_now_pct", 5, "last 365 days, % of charge"),
            one("count", "unmended", 1, "since a repair"),
            text("rule", 7, "federal rule"),
            one("yesno", "alert", 1),
        ),
        "refrigerant order": (
            text("refrigerant", 1),
            text("safety_class", 2, "class"),
            one("count", "units", 2),
            one("count", "additions", 4),
            one("estimate", "oz_per_unit_year", 3, "oz a unit-year"),
            interval("pounds, next 12 months", ("mean_lb", "low", "high"), 1),
            one("estimate", "q95", 2, "enough in 19 of 20 years, lb"),
        ),
        "waits": (
            PROPERTY,
            text("homes", 1),
            one("count", "calls", 1),
            one("count", "unfinished", 4, "no end"),
            interval("median hours", ("median_hours", "low", "high"), 1),
            one("estimate", "p90_hours", 3, "nine in ten below"),
            one("estimate", "mean_hours", 5, "mean hours"),
            interval("median, priority less others", ("longer", "longer_low", "longer_high"), 3),
            one("estimate", "hours", 2, "hours in all"),
            one("estimate", "part_hours", 2, "for a part"),
            one("estimate", "hot_hours", 4, "on hot days"),
            one("estimate", "indoor_f", 3, "found, °F"),
            shares("over 85 °F", ("over_85", "over_85_low", "over_85_high"), 3),
        ),
        "part waits": (
            PROPERTY,
            text("component", 1, total="all"),
            one("count", "calls", 2),
            one("count", "waited", 1),
            shares("share that waits", ("share", "low", "high"), 3),
            interval("median hours", ("median_hours", "median_low", "median_high"), 1),
            one("estimate", "hours", 1, "hours lost"),
            one("share", "share_of_hours", 1, "of all hours"),
            one("count", "priority_waited", 4, "priority homes"),
        ),
        "home waits": (
            text("property", 6),
            text("building", 2, "bldg"),
            text("apartment", 1, "home"),
            text("equipment_id", 3, "unit"),
            one("yesno", "priority_home", 1, "priority"),
            one("count", "calls", 1),
            one("estimate", "hours", 1),
            one("estimate", "hours_per_year", 4, "a year"),
            one("estimate", "longest_hours", 2, "longest"),
            one("estimate", "part_hours", 3, "for a part"),
            one("estimate", "hot_hours", 5, "on hot days"),
            one("estimate", "hottest_f", 4, "hottest, °F"),
            one("yesno", "waiting_now", 2, "waits now"),
        ),
    }
)
"""Layouts by answer name (`fleet.present.layouts`)."""
