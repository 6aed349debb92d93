"""How long have units run, rather than hung there? Time at risk weighed by each day's heat.

A unit-year stays comparable: the fleet's time at risk, summed over all units and days, is as long by heat as on the
calendar. What changes is who had how much of it and when: a unit watched over a hot summer has run through more than
one watched over a mild one, and a hot property more than a cool one.
"""

from __future__ import annotations

from typing import Literal, get_args

from fleet.errors import AnalysisError
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR
from fleet.trade.degree_days import BASE_F

Clock = Literal["calendar", "heat"]

CALENDAR_SHARE = 0.05
"""So much of time at risk counts as calendar time whatever the weather (this project's own choice, no source).

Parts age a little at rest, and a failure found on a cool day must have time at risk of its own.
"""


def check_clock(clock: str) -> Clock:
    """Return the clock asked for, or say (AnalysisError) which there are."""
    for known in get_args(Clock):
        if clock == known:
            found: Clock = known
            return found
    msg = f"clock = {clock!r} is not known; choose from {', '.join(get_args(Clock))}"
    raise AnalysisError(msg)


def weigh_pieces(histories: Histories) -> tuple[Clock, list[str]]:
    """Weigh the days of ``history.rate_piece`` by heat.

    Parameters
    ----------
    histories : Histories
        With ``history.rate_piece`` and ``history.age_stretch`` made (sql/rate_pieces.sql).

    Returns
    -------
    clock : {"calendar", "heat"}
        ``calendar`` where there is no weather, or no heat in it: nothing was changed then.
    notes : list of str
        How the days were weighed and where weather is missing, in whole sentences.

    Notes
    -----
    A day weighs 0.05 + 0.95 x its cooling degree days (base 65 F, mean of high and low) over those of the fleet's
    average day at risk.
    """
    database = histories.database
    heat = database.value("select sum(degree_days) from history.heat")
    if not heat:
        why = "No weather is given" if heat is None else "The weather given has no heat"
        return "calendar", [f"{why}, so running time can't be told: time at risk is calendar time."]
    database.run("create or replace table history.heat_option as select ?::double as calendar_share", [CALENDAR_SHARE])
    database.run_file("fleet.analysis", "heat_running")
    average = database.value("select max(average_degree_days) from history.heat_running")
    if not average:
        return "calendar", ["No unit was at risk where weather is known: time at risk is calendar time."]
    database.run_file("fleet.analysis", "heat_pieces")
    days, filled, bare = (float(n) for n in database.rows("select days, filled, bare from history.heat_filled")[0])
    notes = [
        f"Time at risk is weighed by heat: a unit-year is a year of the fleet's average day ({average:.1f} cooling "
        f"degree days, base {BASE_F:.0f} °F); {CALENDAR_SHARE:.0%} of it counts as calendar time, heat or none."
    ]
    if filled:
        notes.append(
            f"{filled / DAYS_PER_YEAR:.1f} of {days / DAYS_PER_YEAR:.1f} unit-years have no weather of their own day: "
            "they take that property's average for the month."
        )
    if bare:
        notes.append(
            f"{bare / DAYS_PER_YEAR:.1f} of {days / DAYS_PER_YEAR:.1f} unit-years lie in properties without any "
            "weather: they count as calendar time."
        )
    return "heat", notes


def weigh_cells(histories: Histories) -> None:
    """Weigh the days of ``history.rate_cell`` by heat (after `weigh_pieces` said ``heat``)."""
    histories.database.run_file("fleet.analysis", "heat_cells")
