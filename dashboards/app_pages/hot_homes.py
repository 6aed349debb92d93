"""Homes without cooling: how long do people wait, who waits longest, which parts do they wait for?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.people_pictures import homes_picture, part_waits_picture, waits_picture
from fleet.present.places import only
from fleet.present.sentences import opening
from fleet.trade.cautions import cautions_on

HOMES = (
    "equipment_id", "priority_home", "calls", "hours", "longest_hours", "part_hours", "hot_hours", "hottest_f",
    "waiting_now", "last_on", "building", "apartment", "note",
)  # fmt: skip
PARTS = (
    "component", "hours", "share_of_hours", "waited", "calls", "median_hours", "share", "low", "high",
    "priority_waited", "note",
)  # fmt: skip
WAITS = (
    "homes", "calls", "median_hours", "low", "high", "p90_hours", "hours", "part_hours", "hot_hours",
    "readings", "indoor_f", "over_85", "over_85_low", "over_85_high", "unfinished", "property", "note",
)  # fmt: skip

filters = st.session_state["filters"]
whole = data.answer("waits", filters)
waits = only(data.answer("waits by property", filters), filters.prop) if filters.prop else whole
homes = only(data.answer("home waits", filters), filters.prop, filters.building)
parts = data.answer("part waits", filters)

layout.title("Homes without cooling")
layout.say(opening(waits))
layout.tell(opening(homes))
layout.cautions(cautions_on("heat"), heading="When a home is hot")
layout.part("Priority homes first")
layout.pictures([*homes_picture(homes, layout.palette()), *waits_picture(waits, layout.palette())])
layout.table(homes, "Download the homes", "home_waits.csv", first=HOMES)
layout.rests_on(homes)

layout.part("How long, and how hot")
layout.table(waits, "Download the waits", "waits.csv", first=WAITS)
layout.rests_on(waits)

layout.part("Parts waited for")
layout.tell(opening(parts), "Parts are counted over all properties.")
layout.pictures(part_waits_picture(parts, layout.palette()))
layout.table(parts, "Download the parts waited for", "part_waits.csv", first=PARTS)
layout.rests_on(parts)
