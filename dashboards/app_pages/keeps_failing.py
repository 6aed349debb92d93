"""What keeps failing: which units are truly bad, and what should be looked at that nobody has looked at yet?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.pictures import failures_picture
from fleet.present.places import only
from fleet.present.sentences import opening
from fleet.present.summaries import likely_bad

SHOWN = ("equipment_id", "building", "calls", "usual_calls", "expected_calls", "low", "high", "p_bad", "evidence")

filters = st.session_state["filters"]
answer = only(data.answer("units", filters), filters.prop, filters.building)
bad = likely_bad(answer)

layout.title("What keeps failing")
layout.say(opening(answer))
layout.tell(
    "A unit with many calls has often only had bad luck and will do better by itself;",
    "these are the ones that luck doesn't explain.",
)
tags = tuple(bad["equipment_id"])
layout.pictures(failures_picture(data.failure_days(tags, filters), tags, layout.palette()))
if not bad.empty:
    layout.part("What each of them has had")
for tag, evidence in zip(bad["equipment_id"], bad["evidence"], strict=True):
    layout.verdict(tag, evidence)
    st.page_link("app_pages/one_unit.py", label=f"Read the whole history of {tag}", query_params={"unit": tag})

layout.part("Every unit")
layout.table(answer, "Download the units", "units.csv", first=SHOWN)
layout.rests_on(answer)
