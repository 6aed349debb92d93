"""One unit: what was done here before, and is the reading in hand all right to leave? For a phone at the unit."""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
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


def show_readings(unit: UnitHistory) -> None:
    """Show the readings of each run section against its tolerance, and what the last one means."""
    layout.part("Readings so far")
    for row in last_readings(unit).to_dict("records"):
        layout.verdict(row["advice"], f"{SECTIONS[row['section']]}, {day(row['day'])}: {row['reason']}")
    layout.pictures(readings_pictures(unit, layout.palette()))


def show_visits(unit: UnitHistory) -> None:
    """Write every visit, the latest first."""
    layout.part("What was done here")
    for line in visit_lines(unit):
        layout.verdict(line["day"], f"{line['call'].capitalize()}. {line['summary']}")


filters = st.session_state["filters"]
layout.title("One unit")
tags = data.places(filters).units(filters.prop, filters.building)
tag = st.selectbox("Unit tag", tags, index=None, key="unit", bind="query-params", placeholder="Type or choose a tag")
if tag is None:
    layout.say("Which unit are you at?")
    layout.tell(f"Type its tag above; {len(tags):,} are in the log here.")
else:
    shown = data.unit(tag, filters)
    layout.say(unit_sentence(shown))
    layout.tell(priority_line(shown))
    layout.cautions(cautions_on("general", "capacitor"))
    judge_reading(shown)
    show_readings(shown)
    show_visits(shown)
    layout.part("The data plate")
    layout.bullets(plate_lines(shown))
    layout.download(shown.visits, f"Download the visits to {tag}", f"visits_{tag}.csv", key="visits")
    layout.download(shown.readings, f"Download the readings of {tag}", f"readings_{tag}.csv", key="readings")
