"""Seasons and money: what did cooling cost by month, building and cause, and how do calls follow the heat?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.pictures import building_costs_pictures, causes_picture, heat_pictures, months_pictures
from fleet.present.places import only
from fleet.present.sentences import opening

filters = st.session_state["filters"]
costs = only(data.answer("costs", filters), filters.prop, filters.building)

layout.title("Seasons and money")
layout.say(opening(costs))
layout.part("Month by month, on one scale")
layout.pictures(months_pictures(costs, layout.palette()), beside=False)
layout.part("By cause")
layout.pictures(causes_picture(costs, layout.palette()))
layout.part("By building, in walking order")
layout.pictures(building_costs_pictures(costs, data.places(filters), layout.palette()))
layout.table(
    costs, "Download the costs", "costs.csv", first=("month", "property", "building", "cause", "total", "after_hours")
)
layout.rests_on(costs)

seasons = only(data.answer("seasons", filters), filters.prop)
layout.part("How calls follow the heat")
layout.tell(opening(seasons))
layout.pictures(heat_pictures(seasons, layout.palette()))
layout.table(seasons, "Download the seasons", "seasons.csv")
layout.rests_on(seasons)
