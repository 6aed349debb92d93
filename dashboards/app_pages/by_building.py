"""By building: which buildings need most, and which fail more than the rest?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.pictures import building_needs_pictures, building_rates_pictures
from fleet.present.places import only
from fleet.present.sentences import building_sentence, opening
from fleet.present.summaries import named_places

filters = st.session_state["filters"]
places = data.places(filters)
forecast = data.demand(data.Plan(), filters)
needs = data.fan(data.Plan(), filters, ("property", "building"))

layout.title("By building")
layout.say(building_sentence(needs))
layout.tell(
    "Needs are the parts to be fitted next season, drawn from the units that hang there, their age and the heat."
)

layout.part("Parts needed, in walking order")
layout.pictures(building_needs_pictures(needs, places, layout.palette()))
layout.frame(named_places(needs, places), like=forecast, first=("property", "building", "mean", "q05", "q50", "q95"))
layout.download(needs, "Download the needs by building", "needs_by_building.csv")
layout.rests_on(forecast)

rates = only(data.answer("building rates", filters), filters.prop, filters.building)
layout.part("Failures a year, each building's own record")
layout.tell(opening(rates), "A building's rate is drawn toward that of all buildings as far as its own record is thin.")
layout.pictures(building_rates_pictures(rates, places, layout.palette()))
layout.download(rates.table, "Download the rates by building", "rates_by_building.csv")
layout.rests_on(rates)
