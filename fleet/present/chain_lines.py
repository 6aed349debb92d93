"""Which units were called to again and again, what was found each time, and what did the run cost?

A run is a row of calls to one unit, each reported within so many days of the last one's end; what a call and a
call-back are is `fleet.analysis.callbacks`' word, so the calls of all runs but their first are its call-backs.
"""

from __future__ import annotations

import pandas as pd

from fleet.analysis.callbacks import WINDOW_DAYS
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.store.database import read_sql

COLUMNS = (
    AnswerColumn(name="run", kind="count", meaning="number of the run, the one with most calls first"),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="equipment_id", kind="text", meaning="the unit's tag"),
    AnswerColumn(name="first_on", kind="date", meaning="day the call was reported"),
    AnswerColumn(name="last_on", kind="date", meaning="day of its last visit"),
    AnswerColumn(name="days", kind="count", meaning="days since the run's first call", unit="days"),
    AnswerColumn(name="finding", kind="text", meaning="what its last visit found"),
    AnswerColumn(name="visits", kind="count", meaning="visits of the call, planned follow-ups among them"),
    AnswerColumn(name="cost", kind="money", meaning="recorded money of the call", unit="money"),
    AnswerColumn(name="calls", kind="count", meaning="calls of the whole run"),
    AnswerColumn(name="run_cost", kind="money", meaning="recorded money of the whole run", unit="money"),
    AnswerColumn(name="who", kind="text", meaning="technician or outside firm of its last visit"),
    AnswerColumn(name="note", kind="text", meaning="why a cell is blank"),
)

_METHOD = (
    "Calls (not preventive, turnover or no access; planned follow-ups belong to their call) of one unit, each reported "
    "within the window after the last one's end; recorded money of their visits, less credits."
)


def list_callback_runs(histories: Histories, *, window_days: int = WINDOW_DAYS) -> Answer:
    """List the runs of call-backs, call by call: the unit, the days, what was found and what it cost.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    window_days : int
        A further call within this many days of the last is a call-back (1 to 365).

    Returns
    -------
    Answer
        One row a call of a run of two or more (`COLUMNS`), the run with most calls first, of equals the shorter.

    Raises
    ------
    AnalysisError
        When the window is out of range.
    """
    if not 1 <= window_days <= 365:
        msg = f"window_days = {window_days} must lie between 1 and 365"
        raise AnalysisError(msg)
    database = histories.database
    database.run_file("fleet.analysis", "job")
    database.run_file("fleet.analysis", "cost_visit")
    table = database.frame(read_sql("fleet.present", "callback_run"), {"window_days": window_days})
    for name in ("first_on", "last_on"):
        table[name] = pd.Series([pd.Timestamp(day).date() for day in table[name]], index=table.index, dtype=object)
    table["note"] = ["no money recorded" if pd.isna(cost) else "" for cost in table["cost"]]
    return answer_from(
        histories,
        table[[column.name for column in COLUMNS]],
        COLUMNS,
        name="call-back runs",
        method=_METHOD,
        n_used=len(table),
        notes=_notes(table, window_days),
        settings={"window_days": window_days},
    )


def _notes(table: pd.DataFrame, window_days: int) -> list[str]:
    if table.empty:
        return [f"No call was followed by another to the same unit within {window_days} days."]
    return [
        "A run may be one cause nobody found, several faults in one hot month, or chance: read the visits before "
        "judging a person's work.",
        "Look behind a part that fails again before fitting a third: supply voltage under load, the fan motor's heat, "
        "the charge, the contactor's points (common practice, no source).",
    ]
