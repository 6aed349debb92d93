"""One unit: what was done here, where has nobody looked, is the reading in hand all right? For a phone at the unit."""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.failing_words import standing
from fleet.present.numbers import day
from fleet.present.one_unit import (
    SECTIONS,
    UnitHistory,
    judge,
    last_readings,
    plate_lines,
    priority_line,
    unit_sentence,
    visit_lines,
)
from fleet.present.pictures import readings_pictures
from fleet.present.unit_answers import hints_of
from fleet.present.unit_text import hint_lines, hints_said
from fleet.trade.cautions import cautions_on


def judge_reading(unit: UnitHistory) -> None:
    """Take a reading and say leave, measure again or change, with the reason."""
    layout.part("Is this reading all right?")
    left, right = st.columns(2)
    section = left.selectbox("Section", list(SECTIONS), format_func=SECTIONS.__getitem__, key="section")
    value = right.number_input("Reading, µF", 0.0, 1000.0, None, 0.1, key="reading", placeholder="what the meter says")
    if value is None:
        return
    verdict = judge(unit, section, value)
    if verdict is None:
        layout.tell(f"The rating of the {SECTIONS[section]} isn't in the log; compare with the label on the part.")
    else:
        layout.verdict(verdict.advice, verdict.reason)


def show_unit(unit: UnitHistory) -> None:
    """Show one unit: cautions, the reading in hand, where nobody has looked, readings, visits, the data plate."""
    tag, causes = unit.equipment_id, data.causes((unit.equipment_id,), filters)
    layout.say(unit_sentence(unit))
    layout.tell(priority_line(unit))
    layout.tell(standing(data.answer("units", filters), tag))
    layout.cautions(cautions_on("general", "capacitor"))
    judge_reading(unit)
    layout.part("Not looked at yet")
    layout.tell(hints_said(causes))
    for hint in hints_of(causes, tag):
        layout.verdict(hint.cause, hint.said)
        layout.bullets(hint_lines(hint)[1:])
    layout.part("Readings so far")
    for row in last_readings(unit).to_dict("records"):
        layout.verdict(row["advice"], f"{SECTIONS[row['section']].capitalize()}, {day(row['day'])}: {row['reason']}")
    layout.pictures(readings_pictures(unit, layout.palette()))
    layout.part("What was done here")
    for line in visit_lines(unit):
        layout.verdict(line["day"], f"{line['call'].capitalize()}. {line['summary']}")
    layout.part("The data plate")
    layout.bullets(plate_lines(unit))
    layout.download(unit.visits, f"Download the visits to {tag}", f"visits_{tag}.csv", key="visits")
    layout.download(unit.readings, f"Download the readings of {tag}", f"readings_{tag}.csv", key="readings")


filters = st.session_state["filters"]
layout.title("One unit")
tags = data.places(filters).units(filters.prop, filters.building)
chosen = st.selectbox("Unit tag", tags, index=None, key="unit", bind="query-params", placeholder="Type or choose a tag")
if chosen is None:
    layout.say("Which unit are you at?")
    layout.tell(f"Type its tag above; {len(tags):,} are in the log here.")
else:
    show_unit(data.unit(chosen, filters))
