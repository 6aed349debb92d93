"""Which kinds fail more? The trade's sentences on compressor types and model families, and how sure they are."""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.kinds import KINDS, RUNNING, alerts_sentence, kinds_picture
from fleet.present.summaries import named_components

COMPARED = (
    "component", "rate", "low", "high", "ratio", "ratio_low", "ratio_high", "adjusted_ratio", "adjusted_low",
    "adjusted_high", "failures", "unit_years", "alert", "note",
)  # fmt: skip

filters = st.session_state["filters"]
layout.title("Which kinds fail more")
# the sentence that answers stands above the choices it depends on
above = st.container()
left, middle, right = st.columns(3)
kind = left.selectbox("By", list(KINDS), 1, format_func=KINDS.__getitem__, key="kinds by")
clock = right.selectbox("Failures in", list(RUNNING), format_func=RUNNING.__getitem__, key="kinds clock")
rates = data.kind_rates(kind, clock, filters)
names = named_components(rates)
component = middle.selectbox("Component", list(names), format_func=names.__getitem__, key="kinds of")
with above:
    layout.say(alerts_sentence(rates))
    layout.tell(
        "A kind's rate is drawn toward that of the others as far as its own record is thin.",
        "Kinds are compared over all properties; units of one kind share ages and places,",
        "which the adjusted ratio allows for.",
    )
layout.pictures(kinds_picture(rates, component, layout.palette()))
layout.table(rates, "Download the rates", "rates_by_kind.csv", first=(kind, *COMPARED))
layout.rests_on(rates)
