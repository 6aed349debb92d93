"""Is a component failing in a heap somewhere right now? The look to take every week, with a false-alarm promise."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fleet.analysis.cluster_search import MAX_WEEKS, component_weeks, count_weeks, counted_failures
from fleet.analysis.clusters import best_apart, chance_of_larger, week_begins
from fleet.analysis.poisson import FloatArray
from fleet.analysis.scan_recent import drawn_recent_maxima, recent_baseline, recent_windows
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR

SEED = 20_260_402
REPLICATES = 9_999
FALSE_ALARMS_A_YEAR = 0.05
"""One false alarm in twenty years of looking, whatever the number of looks."""

LOOKS_A_YEAR = DAYS_PER_YEAR / 7.0
LEAST_WEEKS_BEFORE = 26
"""With less of a past before the reach nothing can be said of what is usual."""

LISTED = 10

COLUMNS = (
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="component", kind="text", meaning="the component that failed"),
    AnswerColumn(name="from_date", kind="date", meaning="first day of the window's first week"),
    AnswerColumn(name="to_date", kind="date", meaning="the as-of day"),
    AnswerColumn(name="observed", kind="count", meaning="failures in the window"),
    AnswerColumn(name="expected", kind="number", meaning="failures to expect there, from the time before"),
    AnswerColumn(name="ratio", kind="number", meaning="observed ÷ expected"),
    AnswerColumn(name="p_value", kind="number", meaning="chance of such a heap anywhere in the fleet at one look"),
    AnswerColumn(
        name="years_between", kind="number", meaning="chance alone brings such a heap once in so many", unit="years"
    ),
    AnswerColumn(name="alert", kind="yesno", meaning="yes at one false alarm in twenty years of such looks"),
    AnswerColumn(name="llr", kind="number", meaning="log likelihood ratio of a raised rate against none"),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="note", kind="text", meaning="what to know about this row"),
)

_METHOD = (
    "Windows of one building and component that reach to the last week, against what the time before lets one "
    "expect: the building's level shrunk toward the fleet's (gamma-Poisson) times season, heat and time at risk; "
    "p-value of the largest ratio by Monte Carlo; a look spends its share of the false alarms allowed in a year."
)


def watch_clusters(
    histories: Histories,
    *,
    looks_a_year: float = LOOKS_A_YEAR,
    seed: int = SEED,
    replicates: int = REPLICATES,
    max_weeks: int = MAX_WEEKS,
) -> Answer:
    """Say whether some component is failing in a heap in some building now, so that one may look again every week.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    looks_a_year : float
        How often such a look is taken; a weekly look may raise a false alarm once in twenty years.
    seed : int
        Seed of the drawn fleets.
    replicates : int
        Fleets drawn without a heap; enough that the share of one look can be reached.
    max_weeks : int
        How far back a window may begin, weeks (1 to 52).

    Returns
    -------
    Answer
        The most likely window of each building and component, smallest p-value first (`COLUMNS`); no row where the
        log is too short to say what is usual.

    Raises
    ------
    AnalysisError
        When a number is out of range.

    Notes
    -----
    The alarms of a year's looks add up to at most `FALSE_ALARMS_A_YEAR`, since each look is a test at that rate ÷ looks
    a year; looks of neighboring weeks share their failures, so true alarms come in runs. A heap that has ended is for
    `scan_clusters`, a building that is always high for ``rates --by building``.
    """
    look = FALSE_ALARMS_A_YEAR / looks_a_year if looks_a_year > 0 else 0.0
    if not (1.0 <= looks_a_year <= 366.0 and 1 <= max_weeks <= 52 and look >= 1.0 / (replicates + 1.0)):
        msg = (
            f"looks_a_year = {looks_a_year} must lie between 1 and 366, max_weeks = {max_weeks} between 1 and 52, and "
            f"replicates = {replicates} be at least {FALSE_ALARMS_A_YEAR:g}⁻¹ × looks a year"
        )
        raise AnalysisError(msg)
    chains = counted_failures(histories)
    long_enough = count_weeks(histories) >= max_weeks + LEAST_WEEKS_BEFORE
    found, largest = pd.DataFrame(), np.zeros(replicates)
    if long_enough:
        found, largest = _search(histories, chains, np.random.default_rng(seed), replicates, max_weeks)
    table = _table(found, largest, histories, looks_a_year)
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="watch",
        method=_METHOD,
        n_used=len(chains),
        notes=_notes(table, long_enough=long_enough, max_weeks=max_weeks, looks_a_year=looks_a_year),
        settings={
            "looks_a_year": looks_a_year,
            "seed": seed,
            "replicates": replicates,
            "max_weeks": max_weeks,
            "false_alarms_a_year": FALSE_ALARMS_A_YEAR,
        },
    )


def _search(
    histories: Histories, chains: pd.DataFrame, rng: np.random.Generator, replicates: int, max_weeks: int
) -> tuple[pd.DataFrame, FloatArray]:
    largest, found = np.zeros(replicates), []
    for weeks in component_weeks(histories, chains):
        seen = weeks.seen
        baseline = recent_baseline(seen, weeks.usual, max_weeks=max_weeks)
        largest = np.maximum(largest, drawn_recent_maxima(baseline, rng=rng, replicates=replicates))
        best = best_apart(recent_windows(seen, baseline), weeks.buildings)
        if len(best):
            found.append(best.assign(property=weeks.place, component=weeks.component))
    return (pd.concat(found, ignore_index=True) if found else pd.DataFrame()), largest


def _table(found: pd.DataFrame, largest: FloatArray, histories: Histories, looks_a_year: float) -> pd.DataFrame:
    if found.empty:
        return pd.DataFrame(columns=[c.name for c in COLUMNS])
    table = found.assign(p_value=chance_of_larger(found["llr"].to_numpy(), largest))
    table["alert"] = np.where(table["p_value"] <= FALSE_ALARMS_A_YEAR / looks_a_year, "yes", "no")
    table["years_between"] = 1.0 / (table["p_value"] * looks_a_year)
    table["ratio"] = table["observed"] / table["expected"]
    first = histories.window[0]
    table["from_date"] = [week_begins(first, week) for week in table["first_week"]]
    table["to_date"] = histories.as_of
    table["note"] = np.where(table["alert"] == "yes", "", "chance makes such a heap now and then: not named")
    table = table.sort_values(["p_value", "llr", "property", "building"], ascending=[True, False, True, True])
    return table.loc[(table["alert"] == "yes") | (np.arange(len(table)) < LISTED)]


def _notes(table: pd.DataFrame, *, long_enough: bool, max_weeks: int, looks_a_year: float) -> list[str]:
    if not long_enough:
        return [
            f"Not enough data: the log must reach back {LEAST_WEEKS_BEFORE} weeks before the last {max_weeks} to say "
            "what is usual."
        ]
    n = int((table["alert"] == "yes").sum())
    said = "nothing is failing in a heap now that chance doesn't explain" if n == 0 else f"{n} going on now"
    return [
        f"Of the windows of up to {max_weeks} weeks that reach to the as-of day: {said}.",
        f"At {looks_a_year:.0f} looks a year one false alarm in {1 / FALSE_ALARMS_A_YEAR:.0f} years is to be expected; "
        "no alert is no all-clear.",
    ]
