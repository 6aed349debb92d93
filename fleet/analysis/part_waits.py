"""Which missing parts leave people without cooling? Calls that waited for a part, and the hours lost, by component."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd

from fleet.analysis.poisson import check_level, clopper_pearson
from fleet.analysis.wait_curve import FEWEST_WAITS, summarise_waits
from fleet.analysis.waits import CAP_HOURS, left_out, read_waits
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL

COLUMNS = (
    AnswerColumn(name="component", kind="text", meaning="what the call's last visit found at fault; blank for all"),
    AnswerColumn(name="calls", kind="count", meaning="calls for cooling with this fault"),
    AnswerColumn(name="waited", kind="count", meaning="those left waiting for a part"),
    AnswerColumn(name="share", kind="number", meaning="waited ÷ calls"),
    AnswerColumn(name="low", kind="number", meaning="low end of share"),
    AnswerColumn(name="high", kind="number", meaning="high end of share"),
    AnswerColumn(name="median_hours", kind="number", meaning="half of the waits for a part are shorter", unit="hours"),
    AnswerColumn(name="median_low", kind="number", meaning="low end of median_hours"),
    AnswerColumn(name="median_high", kind="number", meaning="high end of median_hours"),
    AnswerColumn(name="hours", kind="number", meaning="hours lost waiting for parts, at least", unit="hours"),
    AnswerColumn(name="share_of_hours", kind="number", meaning="of all hours without cooling of all calls"),
    AnswerColumn(name="priority_waited", kind="count", meaning="of waited, from homes where heat is a danger"),
    AnswerColumn(name="property", kind="text", meaning="blank: all together"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)

_METHOD = (
    "Hours from the end of a visit left waiting for a part to the arrival of the next visit of the call; product-limit "
    "medians with log-log limits, parts still awaited counted as at least so long; exact limits of shares."
)


def count_part_waits(histories: Histories, *, level: float = LEVEL) -> Answer:
    """Say for which components homes wait for a part, how often and how many hours without cooling that costs.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of the limits.

    Returns
    -------
    Answer
        One row for all calls, then one a component with a wait, most hours first (`COLUMNS`).

    Raises
    ------
    AnalysisError
        When the level is out of range.

    Notes
    -----
    The hours are those a part on the shelf would have spared at most: the next visit's own work isn't in them. A wait
    that no later visit ends, and that isn't still going on, has no length here and is only counted.
    """
    check_level(level)
    calls = read_waits(histories)
    used = calls.loc[calls["use"] == "yes"]
    table = pd.DataFrame(list(_rows(used, level)), columns=[column.name for column in COLUMNS])
    answer = answer_from(
        histories,
        table,
        COLUMNS,
        name="part waits",
        method=_METHOD,
        n_used=int(used["waited_for_part"].sum()),
        settings={"level": level},
    )
    return replace(answer, notes=tuple(_notes(table)), excluded=left_out(calls))


def _rows(used: pd.DataFrame, level: float) -> Iterator[dict[str, object]]:
    if used.empty:
        return
    lost = float(used["hours"].sum())
    yield _row("", used, lost, level)
    waited = used.loc[used["waited_for_part"]].groupby("component")["part_hours"].sum()
    for component in waited.sort_values(ascending=False, kind="stable").index:
        yield _row(str(component), used.loc[used["component"] == component], lost, level)


def _row(component: str, calls: pd.DataFrame, lost: float, level: float) -> dict[str, object]:
    waited = calls.loc[calls["waited_for_part"]]
    timed = waited.loc[waited["part_hours"] > 0]
    limits = clopper_pearson(len(waited), len(calls), level)
    waits = summarise_waits(timed["part_hours"], timed["state"] != "waiting", cap=CAP_HOURS, level=level)
    return {
        "component": component,
        "calls": len(calls),
        "waited": len(waited),
        "share": len(waited) / len(calls),
        "low": limits.low,
        "high": limits.high,
        "median_hours": waits.median,
        "median_low": waits.low,
        "median_high": waits.high,
        "hours": waited["part_hours"].sum(),
        "share_of_hours": waited["part_hours"].sum() / lost,
        "priority_waited": int(waited["priority_home"].sum()),
        "property": "",
        "note": "; ".join(_row_notes(waited, timed, waits.median)),
    }


def _row_notes(waited: pd.DataFrame, timed: pd.DataFrame, median: float) -> Iterator[str]:
    if len(waited) > len(timed):
        untimed = len(waited) - len(timed)
        yield f"the length of {untimed} {'wait' if untimed == 1 else 'waits'} isn't known"
    if len(timed) < FEWEST_WAITS:
        yield f"only {len(timed)} timed {'wait' if len(timed) == 1 else 'waits'}, so no median"
    elif np.isnan(median):
        yield "under half of the waits have ended, so no median"


def _notes(table: pd.DataFrame) -> list[str]:
    if table.empty:
        return ["No call for cooling has a time of report and of arrival or finish: write both down to see waits."]
    whole, rows = table.iloc[0], table.iloc[1:]
    if rows.empty:
        return [f"None of {int(whole['calls'])} calls for cooling was left waiting for a part."]
    first = rows.iloc[0]
    return [
        f"Waiting for a {first['component']} alone makes {100 * first['share_of_hours']:.0f} % of all hours without "
        "cooling.",
        "The hours are the most that a part on the shelf could have spared; what one costs there is in the stock plan.",
    ]
