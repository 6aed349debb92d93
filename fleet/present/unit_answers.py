"""What was done at one unit, with what readings, and where has nobody looked yet? As tables and as hints in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.present.failing_words import evidence
from fleet.present.numbers import is_blank
from fleet.present.one_unit import last_readings, read_unit, visit_lines
from fleet.trade.cautions import Caution, cautions_on

VISIT_COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="equipment_id", kind="text", meaning="the unit's tag"),
    AnswerColumn(name="visit_id", kind="text", meaning="the visit"),
    AnswerColumn(name="day", kind="date", meaning="day of its report"),
    AnswerColumn(name="call_type", kind="text", meaning="what it was for"),
    AnswerColumn(name="after_hours", kind="yesno", meaning="at night or on a weekend; blank: not known"),
    AnswerColumn(name="finding", kind="text", meaning="what was found"),
    AnswerColumn(name="done", kind="text", meaning="parts fitted, readings taken, refrigerant added"),
    AnswerColumn(name="outcome", kind="text", meaning="how it ended"),
    AnswerColumn(name="who", kind="text", meaning="technician or outside firm"),
    AnswerColumn(name="notes", kind="text", meaning="what was written down"),
    AnswerColumn(name="follows", kind="yesno", meaning="whether it goes on with an earlier visit for the same fault"),
)

READING_COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="equipment_id", kind="text", meaning="the unit's tag"),
    AnswerColumn(name="visit_id", kind="text", meaning="the visit it was taken on"),
    AnswerColumn(name="day", kind="date", meaning="day of the visit's report"),
    AnswerColumn(name="section", kind="text", meaning="herm, fan or start"),
    AnswerColumn(name="stage", kind="text", meaning="as found, as left, or new before fitting"),
    AnswerColumn(name="value_uf", kind="number", meaning="the reading", unit="microfarads"),
    AnswerColumn(name="rated_uf", kind="number", meaning="the section's rating", unit="microfarads"),
    AnswerColumn(name="off_pct", kind="number", meaning="deviation from the rating", unit="percent"),
    AnswerColumn(name="tolerance_pct", kind="number", meaning="tolerance marked, or taken", unit="percent"),
    AnswerColumn(name="sense", kind="text", meaning="ok, or what is odd about it"),
    AnswerColumn(name="method", kind="text", meaning="how it was taken"),
    AnswerColumn(name="meter", kind="text", meaning="with which meter"),
    AnswerColumn(name="advice", kind="text", meaning="leave, measure again or change; of the last of each run section"),
    AnswerColumn(name="reason", kind="text", meaning="why"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hint:
    """One cause nobody has looked at yet: what it is, what speaks for it, where to look, and the cautions there."""

    cause: str
    said: str
    look_at: str
    basis: str
    cautions: tuple[Caution, ...]


def list_unit_visits(histories: Histories, equipment_id: str) -> Answer:
    """Say what was done at one tag, visit by visit, the latest first.

    Raises
    ------
    AnalysisError
        If no unit ever hung at that tag.
    """
    unit = read_unit(histories, equipment_id)
    lines = pd.DataFrame(visit_lines(unit), columns=["done", "who", "follows"])
    kept = unit.visits[["visit_id", "day", "call_type", "after_hours", "finding", "outcome", "notes"]]
    table = kept.reset_index(drop=True).assign(
        property=unit.property,
        equipment_id=equipment_id,
        done=lines["done"],
        who=lines["who"],
        follows=["yes" if follows else "no" for follows in lines["follows"]],
        after_hours=["" if is_blank(late) else "yes" if late else "no" for late in kept["after_hours"]],
        **{name: _texts(kept[name]) for name in ("finding", "outcome", "notes")},
    )
    return _listed(histories, table, VISIT_COLUMNS, name="unit visits", equipment_id=equipment_id)


def list_unit_readings(histories: Histories, equipment_id: str) -> Answer:
    """Say what was read at one tag, the oldest first, and what the last reading of each run section means.

    Raises
    ------
    AnalysisError
        If no unit ever hung at that tag.
    """
    unit = read_unit(histories, equipment_id)
    judged = last_readings(unit).reindex(columns=["advice", "reason"])
    table = unit.readings.join(judged).assign(property=unit.property, equipment_id=equipment_id)
    words = {name: _texts(table[name]) for name in ("sense", "method", "meter", "advice", "reason")}
    return _listed(histories, table.assign(**words), READING_COLUMNS, name="unit readings", equipment_id=equipment_id)


def hints_of(causes: Answer, equipment_id: str) -> list[Hint]:
    """Return one unit's hints in words, each with the cautions that apply where the hand goes.

    Notes
    -----
    The general cautions stand at the top of everything shown of a unit and aren't repeated; a caution that two hints
    share stands with the first of them.
    """
    rows = causes.table[causes.table["equipment_id"] == equipment_id]
    said: set[str] = set()
    hints = []
    for _, row in rows.iterrows():
        topics = [topic for topic in str(row["cautions"]).split(", ") if topic != "general"]
        cautions = tuple(caution for caution in cautions_on(*topics) if caution.text not in said)  # type: ignore[arg-type]
        said |= {caution.text for caution in cautions}
        cause = str(row["hint"])
        hints.append(
            Hint(
                cause=cause[:1].upper() + cause[1:],
                said=evidence(row),
                look_at=str(row["look_at"]),
                basis=f"{row['basis']}.",
                cautions=cautions,
            )
        )
    return hints


def _listed(
    histories: Histories, table: pd.DataFrame, columns: tuple[AnswerColumn, ...], *, name: str, equipment_id: str
) -> Answer:
    return answer_from(
        histories,
        table,
        columns,
        name=name,
        method="The log's own records of this tag, as they were written.",
        n_used=len(table),
        settings={"equipment_id": equipment_id},
    )


def _texts(values: pd.Series[Any]) -> list[str]:
    return ["" if is_blank(value) else str(value) for value in values]
