"""Capacitors: which sections are outside their tolerance, where, how fast do they lose, and which meters read off?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.pictures import leaving_picture, meters_picture, sections_pictures
from fleet.present.places import only
from fleet.present.sentences import opening
from fleet.present.summaries import needing_action
from fleet.trade.cautions import cautions_on

SHOWN = (
    "equipment_id", "building", "section", "rated_uf", "pct", "low", "high", "slope_pct_per_year", "leaves_tolerance",
    "advice",
)  # fmt: skip

filters = st.session_state["filters"]
answer = only(data.answer("drift", filters), filters.prop, filters.building)
meters = data.answer("meters", filters)

layout.title("Capacitors")
layout.say(opening(answer))
layout.tell("The advice allows for the meter's own error and for what the part has lost since it was last read.")
layout.cautions(cautions_on("capacitor", "live test"))

layout.part("Where they are, in walking order")
layout.pictures(sections_pictures(answer, data.places(filters), layout.palette()))

layout.part("When the others leave tolerance")
layout.picture(leaving_picture(answer, layout.palette()))

layout.part("Sections to act on")
layout.frame(needing_action(answer), like=answer, first=SHOWN)
layout.download(answer.table, "Download every section", "capacitors.csv")
layout.rests_on(answer)

layout.part("The meters")
layout.tell(opening(meters), "Meters are compared over all properties.")
layout.pictures(meters_picture(meters, layout.palette()))
layout.table(meters, "Download the meters", "meters.csv")
layout.rests_on(meters)
