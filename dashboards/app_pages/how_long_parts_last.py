"""How long parts last: by what age has a tenth failed, who wears out or dies young, and whose last longer?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.layouts import reading_order
from fleet.present.life_groups import GROUPINGS, PARTS
from fleet.present.life_pictures import (
    curves_shown,
    ends_picture,
    ends_shown,
    life_curve_pictures,
    life_spans_pictures,
)
from fleet.present.life_words import how_sure, remarks, weak_ways
from fleet.present.places import only
from fleet.present.sentences import opening

SHOWN = (
    "model", "failures", "weak", "b10", "b10_low", "b10_high", "median", "median_low", "median_high", "shape",
    "curve_age", "curve_at_risk", "curve_survival", "fitted_survival", "b10_weak_failed", "b10_weak_ignored", "note",
)  # fmt: skip

filters = st.session_state["filters"]
places = data.places(filters)

layout.title("How long parts last")
top = st.container()
left, right = st.columns(2)
component = left.selectbox("Part", PARTS, key="life part", persist_state="session")
kind = right.selectbox("Compare by", list(GROUPINGS), key="life by", persist_state="session")
by = GROUPINGS[kind]
answer = only(data.life(component, by, filters), filters.prop, filters.building)

with top:
    layout.say(opening(answer))
    layout.tell(how_sure(answer))

spans = life_spans_pictures(answer, places, layout.palette())
if spans:
    layout.pictures(spans)
if not answer.table.empty:
    curve = only(data.life_curve(component, by, filters), filters.prop, filters.building)
    layout.part("Still working, by age")
    layout.tell(curves_shown(answer, curve))
    rows = life_curve_pictures(answer, curve, layout.palette())
    for row in rows:
        for column, one in zip(st.columns(len(rows[0]), gap="medium"), row, strict=False):
            with column:
                layout.picture(one)
    if remarks(answer):
        layout.bullets(remarks(answer))
    layout.download(curve.table, "Download the curve", "life_curve.csv")

    layout.part("The numbers")
    layout.tell(weak_ways(answer))
    layout.frame(reading_order(answer).table, like=answer, first=(*by, *SHOWN))
    layout.download(answer.table, "Download the lives", "life.csv")
    layout.rests_on(answer)

    ends = only(data.life_ends(component, filters), filters.prop)
    layout.part("What ends them, all causes at work")
    layout.tell(opening(ends))
    layout.pictures(ends_picture(ends, layout.palette()))
    layout.frame(ends_shown(ends))
    layout.download(ends.table, "Download what ends them", "life_ends.csv")
    layout.rests_on(ends)

every = data.answer("lives", filters)
layout.part("Every part beside the others")
layout.tell(opening(every), "Parts are compared over all properties.")
layout.pictures(life_spans_pictures(every, places, layout.palette()))
layout.frame(reading_order(every).table, like=every, first=("component", *SHOWN))
layout.download(every.table, "Download every part", "life_every_part.csv")
layout.rests_on(every)
