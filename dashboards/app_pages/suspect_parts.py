"""Suspect parts: which units still carry a part of a bad lot, what may the maker still owe, which new parts are bad?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.coming_back_pictures import new_parts_picture
from fleet.present.coming_back_words import suspect_cautions
from fleet.present.places import only
from fleet.present.sentences import opening

CARRIED = (
    "equipment_id", "first", "priority_home", "chance", "usual_chance", "part_no", "lot", "fitted_on", "building",
    "apartment", "component", "note",
)  # fmt: skip
CLAIMS = (
    "claim_by", "in_time", "equipment_id", "failed_on", "component", "part_no", "money", "suspect_lot", "failed_lot",
    "visit_id", "why", "note",
)  # fmt: skip
TESTED = ("by", "component", "part_no", "lot", "tested", "bad", "share", "low", "high", "bad_true_meter", "more_tests",
          "alert", "note")  # fmt: skip

filters = st.session_state["filters"]
suspects = only(data.answer("suspect parts", filters), filters.prop, filters.building)
claims = only(data.answer("claims", filters), filters.prop, filters.building)
tested = data.answer("new parts", filters)

layout.title("Suspect parts")
layout.say(opening(suspects))
layout.tell("About one named lot in ten is named by chance: look at the failed parts before a recall.")
if not suspects.table.empty:
    layout.cautions(suspect_cautions(suspects))
    layout.part("Where they are, and what to do first")
    layout.table(suspects, "Download the list for the walk", "suspect_parts.csv", first=CARRIED)
layout.rests_on(suspects)

layout.part("What the maker may still owe")
layout.tell(
    opening(claims),
    "What a claim needs (the old part, its lot, a form, days after the repair) the maker's paper says; the log is "
    "evidence, not the claim.",
)
layout.table(claims, "Download the claims", "claims.csv", first=CLAIMS)
layout.rests_on(claims)

layout.part("New parts tested before fitting")
layout.tell(opening(tested), "Tests are counted over all properties.")
layout.pictures(new_parts_picture(tested, layout.palette()))
layout.table(tested, "Download the tests", "new_parts.csv", first=TESTED)
layout.rests_on(tested)
