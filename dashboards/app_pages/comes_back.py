"""What comes back: how much beyond chance, in whose work beside like work, at which units, and what follows what?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.coming_back_pictures import callbacks_picture, runs_picture
from fleet.present.coming_back_words import standing_out
from fleet.present.places import only
from fleet.present.sentences import opening
from fleet.present.summaries import callbacks_by

BY = {"finding": "what was found", "technician": "technician", "vendor": "outside firm"}
CALLS = (
    "value", "calls", "share", "low", "high", "usual_share", "usual_low", "usual_high", "alert", "returned", "expected",
    "note",
)  # fmt: skip
RUNS = ("equipment_id", "first_on", "days", "finding", "visits", "cost", "calls", "run_cost", "building", "who")
CHAINS = (
    "first", "times", "then", "cases", "followed", "expected", "ratio", "low", "high", "median_days", "chain_cost",
    "single_cost", "alert", "note",
)  # fmt: skip

filters = st.session_state["filters"]
calls = data.answer("callbacks", filters)
runs = only(data.answer("call-back runs", filters), filters.prop, filters.building)

layout.title("What comes back")
layout.say(opening(calls))
layout.tell(
    "Hard jobs come back more often than easy ones, so each is set beside work on the same findings, over all "
    "properties; a number here is a reason to ask, not a judgment of a person."
)
st.page_link("app_pages/fails_together.py", label="See what fails together: buildings by month, lots of parts")
by = st.selectbox("Compare by", list(BY), format_func=BY.__getitem__, key="callbacks by", persist_state="session")
layout.tell(standing_out(calls, by))
layout.pictures(callbacks_picture(calls, by, layout.palette()))
layout.frame(callbacks_by(calls, by), like=calls, first=CALLS)
layout.download(calls.table, "Download the call-backs", "callbacks.csv")
layout.rests_on(calls)

layout.part("Called to again and again")
layout.tell(opening(runs), *runs.notes[:1])
layout.pictures(runs_picture(runs, layout.palette()))
layout.table(runs, "Download the runs", "callback_runs.csv", first=RUNS)
layout.rests_on(runs)

chains = data.answer("cause chains", filters)
layout.part("What follows what")
layout.tell(opening(chains), *chains.notes[1:2])
layout.table(chains, "Download what follows what", "cause_chains.csv", first=CHAINS)
layout.rests_on(chains)
