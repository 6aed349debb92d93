"""What fails together: in which building and month, is anything going on now, and which lots of parts die young?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.coming_back_pictures import clusters_picture, lots_picture, month_years, months_pictures
from fleet.present.places import only
from fleet.present.sentences import opening

HEAPS = (
    "building", "component", "from_date", "to_date", "observed", "expected", "p_value", "alert", "always_ratio",
    "always_low", "always_high", "property", "note",
)  # fmt: skip

filters = st.session_state["filters"]
months = only(data.answer("months", filters), filters.prop, filters.building)
clusters = only(data.answer("clusters", filters), filters.prop, filters.building)

layout.title("What fails together")
layout.say(opening(clusters))
now = st.container()  # filled last: it takes longest
layout.tell(opening(months))
year = st.selectbox("Show", month_years(months), key="months of", persist_state="session")
layout.pictures(months_pictures(months, clusters, data.places(filters), year, layout.palette()), beside=False)
layout.download(months.table, "Download the months", "months.csv")
layout.rests_on(months)

layout.part("Failures close together")
layout.tell("A building that is always high is told apart by its failures at all times.")
layout.pictures(clusters_picture(clusters, layout.palette()))
layout.table(clusters, "Download the clusters", "clusters.csv", first=HEAPS)
layout.rests_on(clusters)

lots = data.answer("lots", filters)
layout.part("Lots of parts")
layout.tell(opening(lots), "Lots are compared over all properties.")
layout.pictures(lots_picture(lots, layout.palette()))
st.page_link("app_pages/suspect_parts.py", label="See which units still carry a suspect part, and what to claim")
layout.table(lots, "Download the lots", "lots.csv")
layout.rests_on(lots)

watch, power = data.answer("watch", filters), data.answer("scan power", filters)
with now:
    layout.tell(opening(watch))
layout.part("What could be seen at all")
layout.tell(opening(power), "Where nothing could be seen, no alert says nothing.")
layout.download(power.table, "Download what could be seen", "scan_power.csv")
layout.rests_on(power)
layout.part("What the look at the last weeks rests on")
layout.download(watch.table, "Download what goes on now", "watch.csv")
layout.rests_on(watch)
