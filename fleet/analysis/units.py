"""Which units keep failing? Each unit's calls against those usual for its kind, with the chance that it is truly bad.

A list of the units with most calls is mostly luck: next year they call far less. So each unit's rate is shrunk toward
what is usual for its compressor type, model family and age, and the answer is a chance, not a rank.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd

from fleet.analysis.failing_law import UnitPosterior, place_units
from fleet.analysis.poisson import check_level
from fleet.analysis.usual_rates import UsualCalls, make_bands, usual_calls
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL
from fleet.store.database import read_sql

BAD_TIMES = 2.0
"""A unit is bad when its true rate is over this many times what its kind has."""

MIN_UNIT_YEARS = 1.0
"""A fleet watched for less says nothing of the calls to come."""

COLUMNS = (
    AnswerColumn(name="equipment_id", kind="text", meaning="the unit's tag"),
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="calls", kind="count", meaning="failure chains of all components and no-fault chains"),
    AnswerColumn(name="unit_years", kind="number", meaning="time at risk in the log", unit="years"),
    AnswerColumn(name="expected_calls", kind="number", meaning="calls to expect in the next 12 months"),
    AnswerColumn(name="low", kind="count", meaning="low end of the count to come"),
    AnswerColumn(name="high", kind="count", meaning="high end of the count to come"),
    AnswerColumn(name="p_bad", kind="number", meaning="chance that its rate is over twice what its kind has"),
    AnswerColumn(name="evidence", kind="text", meaning="what failed how often, against the usual"),
    AnswerColumn(name="usual_calls", kind="number", meaning="calls usual for its kind and age in the same time"),
    AnswerColumn(name="last_call", kind="date", meaning="report of its last call; blank: none in the log"),
    AnswerColumn(
        name="past_rate", kind="number", meaning="calls a year in the log; compare expected_calls", unit="per year"
    ),
    AnswerColumn(
        name="avoided_calls",
        kind="number",
        meaning="calls of the next 12 months that mending would avoid: those over what its kind has",
    ),
    AnswerColumn(name="avoided_low", kind="number", meaning="lower bound of the expected calls avoided"),
    AnswerColumn(name="avoided_high", kind="number", meaning="upper bound of the expected calls avoided"),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)

_METHOD = (
    "Calls against those usual for compressor type, model family and age (penalised Poisson regression); units differ "
    "by one gamma law or two, weighed by their likelihoods; counts to come are negative binomial mixtures."
)


def find_failing_units(histories: Histories, *, level: float = LEVEL) -> Answer:
    """Say which units in service keep failing, how surely, and what to expect of them.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of ``low`` and ``high``, the limits of the count in the next twelve months.

    Returns
    -------
    Answer
        One row a unit in service with time at risk, most surely bad first (`COLUMNS`). With under three units
        ``p_bad`` is blank: nothing says what is usual.

    Raises
    ------
    AnalysisError
        When the level is out of range.

    Notes
    -----
    A call is a failure chain of any component or a chain of visits on which no fault was found, not those begun on
    preventive maintenance or turnover. Units no longer in service help to say what is usual and aren't listed.
    ``expected_calls`` lies between ``past_rate`` and what is usual: a unit picked for its bad past does better by
    itself (regression to the mean), so a repair is judged against ``expected_calls``. ``avoided_calls`` is what is
    gained if the unit is brought to what its kind has: the expected calls over the usual, never below zero, averaged
    over how bad the unit may be; its bounds are for the expected calls avoided, not for the count.
    """
    check_level(level)
    make_bands(histories)
    units = histories.database.frame(read_sql("fleet.analysis", "unit_calls"))
    at_risk = units.loc[units["unit_years"] > 0].reset_index(drop=True)
    idle = units.loc[units["unit_years"] == 0].assign(
        **dict.fromkeys(_JUDGED, np.nan), note="no time at risk in the log"
    )
    notes: list[str] = []
    if len(at_risk):
        usual = usual_calls(histories, at_risk)
        posterior = place_units(at_risk["calls"].to_numpy(dtype=np.float64), usual.so_far)
        at_risk = _judged(at_risk, usual, posterior, level)
        notes = _notes(at_risk, posterior)
    units = pd.concat([part for part in (at_risk, idle) if len(part)] or [idle], ignore_index=True)
    units["evidence"] = _evidence(histories, units)
    listed = units.loc[units["in_service"].astype(bool)].sort_values(
        ["p_bad", "expected_calls", "equipment_id"], ascending=[False, False, True], na_position="last"
    )
    table = listed.assign(
        last_call=pd.Series([_date(day) for day in listed["last_day"]], index=listed.index, dtype=object)
    )
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="units",
        method=_METHOD,
        n_used=int(units["calls"].sum()),
        notes=notes,
        excluded=_excluded(histories, len(units) - len(listed)),
        settings={"level": level, "bad_times": BAD_TIMES},
    )


_JUDGED = (
    "expected_calls",
    "low",
    "high",
    "p_bad",
    "usual_calls",
    "past_rate",
    "avoided_calls",
    "avoided_low",
    "avoided_high",
)


def _judged(units: pd.DataFrame, usual: UsualCalls, posterior: UnitPosterior, level: float) -> pd.DataFrame:
    low, high = posterior.count_limits(usual.next_year, level)
    alone = "" if posterior.pooled else "under three units: nothing says what is usual, so no chance of being bad"
    if units["unit_years"].sum() < MIN_UNIT_YEARS:
        return units.assign(**dict.fromkeys(_JUDGED, np.nan), note="under one unit-year in the log: not enough data")
    return units.assign(
        expected_calls=posterior.mean() * usual.next_year,
        low=low,
        high=high,
        p_bad=posterior.chance_above(BAD_TIMES) if posterior.pooled else np.nan,
        usual_calls=usual.so_far,
        past_rate=units["calls"] / units["unit_years"],
        avoided_calls=posterior.mean_above(1.0) * usual.next_year,
        avoided_low=np.maximum(posterior.quantile(0.5 - level / 2.0) - 1.0, 0.0) * usual.next_year,
        avoided_high=np.maximum(posterior.quantile(0.5 + level / 2.0) - 1.0, 0.0) * usual.next_year,
        note=alone,
    )


def _evidence(histories: Histories, units: pd.DataFrame) -> list[str]:
    """Return a sentence a unit: calls in how many years against the usual, and what failed how often."""
    found = histories.database.rows(
        "select unit_id, component from history.unit_call where not on_plan order by unit_id, day, component"
    )
    failed: dict[int, Counter[str]] = {}
    for unit_id, component in found:
        failed.setdefault(int(unit_id), Counter())[component] += 1
    return [
        _sentence(int(calls), years, usual, failed.get(int(unit_id), Counter()))
        for unit_id, calls, years, usual in zip(
            units["unit_id"], units["calls"], units["unit_years"], units["usual_calls"], strict=True
        )
    ]


def _sentence(calls: int, years: float, usual: float, failed: Counter[str]) -> str:
    head = f"{calls} {'call' if calls == 1 else 'calls'} in {years:.1f} years"
    head += "" if np.isnan(usual) else f" where {usual:.1f} are usual"
    if not failed:
        return f"{head}."
    ordered = sorted(failed.items(), key=lambda item: (-item[1], item[0]))
    return f"{head}; {', '.join(f'{name} {_times(n)}' for name, n in ordered)}."


def _times(n: int) -> str:
    return {1: "once", 2: "twice"}.get(n, f"{n} times")


def _notes(units: pd.DataFrame, posterior: UnitPosterior) -> list[str]:
    notes = []
    top = units.loc[units["in_service"]].assign(rate=lambda u: u["calls"] / u["unit_years"]).nlargest(20, "calls")
    if posterior.pooled and len(units) > 20 and top["calls"].sum():
        notes.append(
            f"A unit picked because it failed often fails less next year, whatever is done: the {len(top)} units with "
            f"most calls had {top['calls'].sum() / top['unit_years'].sum():.1f} a year and "
            f"{top['expected_calls'].mean():.1f} are expected of them next year. Judge a repair against the expected "
            "calls, not against last year's."
        )
    if not posterior.pooled:
        notes.append("Under three units have time at risk: what is usual can't be said, so no unit is called bad.")
    elif posterior.clearly_two:
        notes.append("The log speaks for a small group of units that truly fail more than the rest.")
    else:
        notes.append("The log shows no clear group of bad units: units differ by degrees, and much of it is luck.")
    return notes


def _excluded(histories: Histories, n_retired: int) -> dict[str, int]:
    on_plan = int(histories.database.value("select count(*) from history.unit_call where on_plan"))
    counts = {
        "units no longer in service, used for what is usual and not listed": n_retired,
        "failures found on preventive maintenance or turnover, no calls": on_plan,
    }
    return {reason: n for reason, n in counts.items() if n}


def _date(day: object) -> object:
    return None if pd.isna(day) else pd.Timestamp(day).date()  # type: ignore[arg-type, call-overload]
