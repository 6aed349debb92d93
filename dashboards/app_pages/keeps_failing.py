"""What keeps failing: which units are truly bad, is it getting worse, and where has nobody looked yet?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.failing_words import first_hint, prospect
from fleet.present.pictures import failures_picture
from fleet.present.places import only
from fleet.present.recurrence_pictures import CLOCKS, recurrence_picture, trends_picture
from fleet.present.sentences import opening
from fleet.present.summaries import likely_bad, named_components

SHOWN = (
    "equipment_id", "p_bad", "past_rate", "expected_calls", "low", "high", "avoided_calls", "calls", "usual_calls",
    "building", "evidence",
)  # fmt: skip
TRENDS = ("component", "failures", "yearly_factor", "low", "high", "age_shape", "verdict", "note")


def name_units(filters: data.Filters) -> None:
    """Name the units luck doesn't explain: what each had, what to expect of it, where nobody has looked yet."""
    answer = only(data.answer("units", filters), filters.prop, filters.building)
    bad = likely_bad(answer)
    layout.say(opening(answer))
    layout.tell(*answer.notes[:1], "" if bad.empty else "The units named here are those that luck doesn't explain.")
    tags = tuple(bad["equipment_id"])
    layout.pictures(failures_picture(data.failure_days(tags, filters), tags, layout.palette()))
    if not bad.empty:
        layout.part("What each of them has had, and where nobody has looked yet")
        layout.tell("A hint is a place to look, not a finding; the cautions that go with it stand on the unit's page.")
        causes = data.causes(tags, filters)
        for row in bad.to_dict("records"):
            tag = row["equipment_id"]
            layout.verdict(tag, f"{row['evidence']} {prospect(row)}")
            layout.tell(first_hint(causes, tag))
            st.page_link("app_pages/one_unit.py", label=f"Read the whole history of {tag}", query_params={"unit": tag})
    layout.part("Every unit")
    layout.table(answer, "Download the units", "units.csv", first=SHOWN)
    layout.rests_on(answer)


def show_trends(filters: data.Filters) -> None:
    """Show whether failures grow more frequent: the curve of one component or all, and every component's trend."""
    trends = data.answer("trends", filters)
    layout.part("Is it getting worse?")
    layout.tell(opening(trends), "Trends and curves are over all properties.")
    layout.pictures(trends_picture(trends, layout.palette()))
    left, right = st.columns(2)
    names = named_components(trends)
    component = left.selectbox("What failed", list(names), format_func=names.__getitem__, key="recurrence of")
    clock = right.selectbox("Over", list(CLOCKS), format_func=CLOCKS.__getitem__, key="recurrence clock")
    curve = data.recurrence(component, clock, filters)
    layout.tell(opening(curve))
    layout.pictures(recurrence_picture(curve, layout.palette()))
    layout.download(curve.table, "Download the curve", "recurrence.csv")
    layout.rests_on(curve)
    layout.part("Every component's trend")
    layout.table(trends, "Download the trends", "trends.csv", first=TRENDS)
    layout.rests_on(trends)


chosen = st.session_state["filters"]
layout.title("What keeps failing")
name_units(chosen)
show_trends(chosen)
