"""How is it said which units keep failing, whether failures grow more frequent, and what nobody has looked at yet?

No number is estimated here; every one is read off an answer of `fleet.analysis`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from fleet.answer import Answer
from fleet.present.numbers import (
    about,
    agreeing,
    count_to_come,
    counted,
    day,
    estimate,
    finite,
    listed,
    percent,
    with_interval,
)

LIKELY = 0.5
"""More likely than not."""

_LITTLE = 0.05  # calls a year: a gain below this isn't worth a sentence


def units_sentence(answer: Answer) -> str:
    """Say which units likely fail over twice as often as their kind, and what to expect of the surest of them."""
    bad = answer.table[answer.table["p_bad"] > LIKELY].sort_values("p_bad", ascending=False, kind="stable")
    if bad.empty:
        return "No unit likely fails over twice as often as its kind."
    first = bad.iloc[0]
    years = about(first["unit_years"]).removeprefix("about ")
    more = estimate(first["expected_calls"])
    seen = f"{counted(first['calls'], 'call')} in {years} years; about {more} more expected next year"
    if len(bad) == 1:
        return f"{first['equipment_id']} likely fails over twice as often as its kind: {seen}."
    others = listed([str(tag) for tag in bad["equipment_id"].iloc[1:]], limit=3)
    return (
        f"{len(bad)} units likely fail over twice as often as their kind: {first['equipment_id']} ({seen}), {others}."
    )


def prospect(row: pd.Series[Any] | Mapping[Any, Any]) -> str:
    """Say of one unit what it had, what to expect of it next year by itself, and what mending it would save.

    Parameters
    ----------
    row : Series or dict
        One row of `fleet.analysis.units.find_failing_units`.

    Notes
    -----
    What is expected lies between a unit's own past and what its kind has, because a bad past is partly bad luck
    (regression to the mean): a repair is judged against the expected count.
    """
    if finite(row["expected_calls"]) is None:
        return str(row["note"])
    said = f"It had {estimate(row['past_rate'])} calls a year; {_to_come(row)}"
    gain, low, high = (finite(row[name]) for name in ("avoided_calls", "avoided_low", "avoided_high"))
    if gain is None or gain < _LITTLE:
        return f"{said}, and mending it would save next to none of them."
    return f"{said}, about {_fewer(gain, low, high)} if it were brought to its kind's usual."


def standing(units: Answer, tag: str) -> str:
    """Say of one unit how likely it is a bad one; blank where the answer doesn't list it."""
    found = units.table[units.table["equipment_id"] == tag]
    if found.empty:
        return ""
    row = found.iloc[-1]
    p_bad = finite(row["p_bad"])
    if p_bad is None:
        return str(row["note"])
    chance = f"The chance that it truly fails over twice as often as its kind is {percent(p_bad)}"
    return f"{chance}; visits for one fault taken as one, {row['evidence']} {prospect(row)}"


def recurrence_sentence(answer: Answer) -> str:
    """Say how many failures a unit has had by the end of the longest curve, and whether they grow more frequent."""
    verdict = agreeing(answer.notes[0]) if answer.notes else ""
    known = answer.table[answer.table["mean_failures"].notna()]
    if known.empty:
        return verdict
    row = known[known["segment"] == known["segment"].value_counts().idxmax()].iloc[-1]
    what = f"{row['component']} failures" if row["component"] else "failures"
    had = about(row["mean_failures"], row["low"], row["high"], unit=what)
    if answer.settings.get("clock") == "age":
        return f"By an age of {row['years']:.1f} years a unit has had {had}. {verdict}"
    return f"From the log's first day to {day(row['day'])} a unit has had {had}. {verdict}"


def trends_sentence(answer: Answer) -> str:
    """Say which components fail more often than they used to, after all of them were looked at."""
    table = answer.table
    told = table[(table["component"] != "") & table["verdict"].isin(["more frequent", "less frequent"])]
    every = table[table["component"] == ""]
    said = _all_together(every.iloc[0]) if len(every) else ""
    if told.empty:
        return f"No single component's trend can be told from none. {said}".strip()
    ways = [f"{row['component']} ({row['verdict']}, {yearly_factor(row)})" for _, row in told.iterrows()]
    verb = "shows" if len(told) == 1 else "show"
    of_all = f"{len(told)} of {counted(len(table) - len(every), 'component')} {verb} a trend"
    return f"{of_all}: {listed(ways)}. {said}".strip()


def trend_of(trends: Answer, component: str) -> str:
    """Say one component's trend as it stands after all of them were looked at (blank: all together)."""
    found = trends.table[trends.table["component"] == component]
    return _all_together(found.iloc[0]) if len(found) else ""


def yearly_factor(row: pd.Series[Any]) -> str:
    """Say a yearly factor with its interval: "1.08 times as often each year, 1.00 to 1.17"."""
    return f"{row['yearly_factor']:.2f} times as often each year, {row['low']:.2f} to {row['high']:.2f}"


def causes_sentence(answer: Answer) -> str:
    """Say what may be behind the repeats of a unit, or of several, that nobody has looked at yet."""
    table, tags = answer.table, list(answer.settings.get("equipment_id") or ())
    if table.empty:
        if len(tags) == 1:
            return answer.notes[0] if answer.notes else ""
        return f"At none of {counted(len(tags), 'unit')} do repeats point at a cause nobody has looked at yet."
    if len(tags) == 1:
        hints = listed([str(hint) for hint in table["hint"]])
        causes = "one cause" if len(table) == 1 else f"{len(table)} causes"
        return f"At {tags[0]} the repeats point at {causes} nobody has looked at yet: {hints}."
    units = table["equipment_id"].nunique()
    first = table.iloc[0]
    verb = "has" if units == 1 else "have"
    return (
        f"Of {counted(len(tags), 'unit')} {units} {verb} repeats that point at a cause nobody has looked at yet; at "
        f"{first['equipment_id']} it is {first['hint']}."
    )


def first_hint(causes: Answer, tag: str) -> str:
    """Say the first thing nobody has looked at yet at one unit, with what speaks for it; blank where nothing does."""
    found = causes.table[causes.table["equipment_id"] == tag]
    if found.empty:
        return ""
    row = found.iloc[0]
    return f"Not looked at yet: {row['hint']}. {evidence(row)} Basis: {row['basis']}."


def evidence(row: pd.Series[Any] | Mapping[Any, Any]) -> str:
    """Return a hint's evidence as a sentence."""
    said = str(row["evidence"])
    return said[:1].upper() + said[1:]


def visits_sentence(answer: Answer) -> str:
    """Say how many visits a unit has had."""
    tag = answer.settings.get("equipment_id")
    table = answer.table
    if table.empty:
        return f"{tag} has no visit in the log."
    return f"{tag} has had {counted(len(table), 'visit')}, the last on {day(table['day'].iloc[0])}."


def readings_sentence(answer: Answer) -> str:
    """Say what the last reading of each run section of a unit means."""
    tag = answer.settings.get("equipment_id")
    judged = answer.table[answer.table["advice"] != ""]
    if judged.empty:
        return f"No run-capacitor reading of {tag} with a known rating is in the log."
    said = [f"{row['section']} {row['advice']} ({row['reason'].rstrip('.')})" for _, row in judged.iterrows()]
    return f"By the last readings of {tag}: {'; '.join(said)}."


def _fewer(gain: float, low: float | None, high: float | None) -> str:
    bounds = with_interval(gain, low, high).partition(" (")
    return f"{bounds[0]} fewer{''.join(bounds[1:])}"


def _to_come(row: pd.Series[Any] | Mapping[Any, Any]) -> str:
    return f"expect about {count_to_come(row['expected_calls'], row['low'], row['high'])} next year"


def _all_together(row: pd.Series[Any]) -> str:
    what = f"Failures of the {row['component']}" if row["component"] else "All failures together"
    if finite(row["yearly_factor"]) is None:
        return f"{what}: {row['note'] or 'no trend can be told'}."
    if row["verdict"] in ("more frequent", "less frequent"):
        return f"{what} grow {row['verdict']}: {yearly_factor(row)}."
    return f"{what} show no trend that can be told from none: {yearly_factor(row)}."
