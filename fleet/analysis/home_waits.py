"""Which homes have gone longest without cooling? One row a home, those where heat is a danger first."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from fleet.analysis.waits import left_out, read_waits
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.trade.cautions import cautions_on

COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="apartment", kind="text", meaning="the home; blank where only the unit's tag is known"),
    AnswerColumn(name="equipment_id", kind="text", meaning="the tag of its units, comma between"),
    AnswerColumn(name="priority_home", kind="yesno", meaning="whether heat is a danger to the resident"),
    AnswerColumn(name="calls", kind="count", meaning="calls for cooling"),
    AnswerColumn(name="years", kind="number", meaning="lived in while the log was kept", unit="years"),
    AnswerColumn(name="hours", kind="number", meaning="hours without cooling in all, at least", unit="hours"),
    AnswerColumn(name="hours_per_year", kind="number", meaning="hours ÷ years", unit="hours a year"),
    AnswerColumn(name="hours_per_call", kind="number", meaning="hours ÷ calls", unit="hours"),
    AnswerColumn(name="longest_hours", kind="number", meaning="the longest wait, at least", unit="hours"),
    AnswerColumn(name="hot_hours", kind="number", meaning="hours on days known to reach 90 °F", unit="hours"),
    AnswerColumn(name="part_hours", kind="number", meaning="of hours, spent waiting for a part", unit="hours"),
    AnswerColumn(name="unfinished", kind="count", meaning="waits of which the log doesn't show the end"),
    AnswerColumn(name="waiting_now", kind="yesno", meaning="whether a part is still awaited on the as-of day"),
    AnswerColumn(name="hottest_f", kind="number", meaning="highest indoor temperature found on a call", unit="°F"),
    AnswerColumn(name="last_on", kind="date", meaning="day of the last call"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)

_METHOD = (
    "Sums of the waits of each home's calls, from the report until cooling was back; unfinished: at least so long."
)

_LIVED_IN = """
with tag as (
    select property, building, coalesce(apartment, equipment_id) as home, equipment_id, sum(e.days) as days
    from history.unit join history.exposure as e using (unit_id) group by all
)
select property, building, home, max(days) / 365.25 as years from tag group by all order by all
"""


def list_home_waits(histories: Histories) -> Answer:
    """List the homes that called for cooling with the hours they went without, priority homes first.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.

    Returns
    -------
    Answer
        One row a home with a call for cooling (`COLUMNS`): those waiting for a part now, then priority homes, then by
        hours.

    Notes
    -----
    A home is the apartment its unit serves, else the unit's tag; it keeps its history when the unit is changed. Waits
    of several units of one home are added up, though they may overlap. Hours a year of a home that called once or twice
    say little of the next summer: what keeps failing is in the list of units.
    """
    calls = read_waits(histories)
    used = calls.loc[calls["use"] == "yes"]
    lived_in = histories.database.frame(_LIVED_IN)
    keys = ["property", "building", "home"]
    table = (
        used.assign(open=~used["done"], waiting=used["state"] == "waiting", dark=used["hot_hours"].isna())
        .groupby(keys, sort=True, dropna=False)
        .agg(
            apartment=("apartment", "last"),
            equipment_id=("equipment_id", lambda tags: ", ".join(sorted(set(tags)))),
            priority=("priority_home", "any"),
            calls=("call_id", "count"),
            hours=("hours", "sum"),
            longest_hours=("hours", "max"),
            hot_hours=("hot_hours", "sum"),
            part_hours=("part_hours", "sum"),
            unfinished=("open", "sum"),
            waiting=("waiting", "any"),
            hottest_f=("indoor_f", "max"),
            last_on=("day", "max"),
            dark=("dark", "sum"),
        )
        .reset_index()
        .merge(lived_in, on=keys, how="left")
    )
    table["apartment"] = table["apartment"].fillna("")
    table["hours_per_year"] = table["hours"] / table["years"].where(table["years"] > 0)
    table["hours_per_call"] = table["hours"] / table["calls"]
    table["hot_hours"] = table["hot_hours"].where(table["dark"] < table["calls"])
    unknown = "the weather of {:.0f} of its waits isn't known, so hot_hours leave them out"
    table["note"] = [unknown.format(n) if n else "" for n in table["dark"]]
    table["last_on"] = pd.to_datetime(table["last_on"]).dt.date
    table = table.sort_values(
        ["waiting", "priority", "hours", *keys], ascending=[False, False, False, True, True, True]
    )
    for name, flag in (("priority_home", "priority"), ("waiting_now", "waiting")):
        table[name] = table[flag].map({True: "yes", False: "no"})
    answer = answer_from(histories, table, COLUMNS, name="home waits", method=_METHOD, n_used=len(used))
    return replace(answer, notes=tuple(_notes(table, len(lived_in))), excluded=left_out(calls))


def _notes(table: pd.DataFrame, homes: int) -> list[str]:
    cautions = [caution.text for caution in cautions_on("heat")]
    if table.empty:
        return [
            "No call for cooling has a time of report and of arrival or finish: write both down to see waits.",
            *cautions,
        ]
    notes = [f"{homes - len(table)} of {homes} homes had no timed call for cooling."]
    waiting = int((table["waiting_now"] == "yes").sum())
    if waiting:
        notes.insert(
            0,
            f"{waiting} {'home waits' if waiting == 1 else 'homes wait'} for a part now, without cooling as far as the "
            "log says.",
        )
    return notes + cautions
