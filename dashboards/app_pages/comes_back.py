"""What comes back: which calls, which lots of parts, and where do failures heap up?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.pictures import callbacks_picture, clusters_picture, lots_picture
from fleet.present.places import only
from fleet.present.sentences import opening

BY = {"finding": "what was found", "technician": "technician", "vendor": "outside firm"}

filters = st.session_state["filters"]
calls = data.answer("callbacks", filters)
lots = data.answer("lots", filters)
clusters = only(data.answer("clusters", filters), filters.prop, filters.building)

layout.title("What comes back")
layout.say(opening(calls))
layout.tell(
    "Hard jobs come back more often than easy ones; a number here is a reason to ask, not a judgment of a person."
)
by = st.selectbox("Compare by", list(BY), format_func=BY.__getitem__, key="callbacks by", persist_state="session")
layout.pictures(callbacks_picture(calls, by, layout.palette()))
layout.table(
    calls, "Download the call-backs", "callbacks.csv", first=("by", "value", "calls", "returned", "expected", "share")
)
layout.rests_on(calls)

layout.part("Lots of parts")
layout.tell(opening(lots), "Lots are compared over all properties.")
layout.pictures(lots_picture(lots, layout.palette()))
layout.table(lots, "Download the lots", "lots.csv")
layout.rests_on(lots)

layout.part("Failures close together")
layout.tell(opening(clusters))
layout.pictures(clusters_picture(clusters, layout.palette()))
layout.table(clusters, "Download the clusters", "clusters.csv")
layout.rests_on(clusters)
