"""One unit as a tech reads it at the unit: what it is, what to mind, where to look, what was read and done."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from fleet.analysis.causes import look_for_causes
from fleet.analysis.units import find_failing_units
from fleet.answer import Answer
from fleet.histories.build import Histories
from fleet.present.failing_words import causes_sentence, standing
from fleet.present.numbers import unbroken
from fleet.present.one_unit import (
    SECTIONS,
    UnitHistory,
    judge,
    plate_lines,
    priority_line,
    read_unit,
    unit_sentence,
    visit_lines,
)
from fleet.present.tables import WIDTH, behind, table_text
from fleet.present.unit_answers import Hint, hints_of, list_unit_readings
from fleet.trade.cautions import cautions_on


def unit_text(histories: Histories, equipment_id: str, *, section: str = "", reading_uf: float | None = None) -> str:
    """Write the history of one tag on a page: plate, cautions, hints, readings with their verdicts, visits.

    Parameters
    ----------
    section : str
        herm, fan or start: the section a reading in hand is of.
    reading_uf : float, optional
        The reading in hand, microfarads; it is judged first of all.

    Raises
    ------
    AnalysisError
        If no unit ever hung at that tag.
    """
    unit = read_unit(histories, equipment_id)
    causes = look_for_causes(histories, equipment_id)
    readings = list_unit_readings(histories, equipment_id)
    parts = [
        *filter(None, (unit_sentence(unit), priority_line(unit))),
        *([] if reading_uf is None else [judged_reading(unit, section, reading_uf)]),
        *filter(None, [standing(find_failing_units(histories), equipment_id)]),
        _part("The data plate", plate_lines(unit)),
        _part("Before you reach in", [caution.text for caution in cautions_on("general", "capacitor")]),
        "Not looked at yet",
        hints_said(causes),
        *(_part(hint.cause, hint_lines(hint)) for hint in hints_of(causes, equipment_id)),
    ]
    tables = ["Readings so far", table_text(readings) or "None in the log."]
    visits = [_part("What was done here", [f"{line['day']}. {line['call'].capitalize()}. {line['summary']}"
                                           for line in visit_lines(unit)])]  # fmt: skip
    return "\n\n".join([*map(_filled, parts), *tables, *visits, behind(readings)]) + "\n"


def hints_said(causes: Answer) -> str:
    """Say what one unit's hints are worth, or that there is none."""
    if causes.table.empty:
        return causes_sentence(causes)
    return "A hint is a place to look, not a finding; it rests on this unit's log alone."


def hint_lines(hint: Hint) -> list[str]:
    """Return what speaks for a hint, where to look, what it rests on, and the cautions there, line by line."""
    said = [hint.said, f"Where to look: {hint.look_at}", f"Basis: {hint.basis}"]
    return [*said, *(caution.text for caution in hint.cautions)]


def judged_reading(unit: UnitHistory, section: str, reading_uf: float) -> str:
    """Say what to do about a reading in hand: leave, measure again or change, with the reason."""
    verdict = judge(unit, section, reading_uf)
    what = f"{SECTIONS[section]}, {reading_uf:g} µF"
    if verdict is None:
        return f"{what}: its rating isn't in the log; compare with the label on the part."
    return f"{what}: {verdict.advice}. {verdict.reason}"


def _part(title: str, sentences: Sequence[str]) -> str:
    """Write a heading and its sentences as a list."""
    said = [
        textwrap.fill(unbroken(one), WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
        for one in sentences
    ]
    return "\n".join([title, *(said or ["- nothing in the log"])]).replace("\N{NO-BREAK SPACE}", " ")


def _filled(text: str) -> str:
    return text if "\n" in text else textwrap.fill(text, WIDTH, break_on_hyphens=False)
