"""Before summer: which parts to order, how many, for which shelf, by when, for how much, and how sure is that?"""

from __future__ import annotations

from typing import Literal

import streamlit as st

from dashboards import data, layout
from fleet.present.pictures import needs_picture, order_pictures
from fleet.present.places import only
from fleet.present.sentences import opening, service_sentence
from fleet.present.summaries import lines_to_order

SUMMERS = {"any": "as the record has them", "hot": "a hot one", "normal": "a middling one", "mild": "a mild one"}
SHELVES = {"building": "on the buildings' shelves", "shop": "all in the shop"}
RESTOCK = {"once": "one order before the season", "refill": "shelves refilled through it"}
KEEP: Literal["session"] = "session"  # a dial stands where it was left when the reader comes back
SHOWN = ("property", "location", "part_no", "to_order", "cost", "order_by", "p_short", "why", "note")


def ask_plan() -> data.Plan:
    """Ask for the dials of the order."""
    with st.expander("Change the plan"):
        left, right = st.columns(2)
        from_date = left.date_input(
            "First day of the season", None, key="from", help="Empty: April 1.", persist_state=KEEP
        )
        to_date = right.date_input(
            "Last day of the season", None, key="to", help="Empty: September 30.", persist_state=KEEP
        )
        summer = left.selectbox(
            "The summer", SUMMERS, format_func=SUMMERS.__getitem__, key="summer", persist_state=KEEP
        )
        shelves = right.selectbox(
            "Parts stand", SHELVES, format_func=SHELVES.__getitem__, key="shelves", persist_state=KEEP
        )
        restock = left.selectbox(
            "Restocking", RESTOCK, format_func=RESTOCK.__getitem__, key="restock", persist_state=KEEP
        )
        service = right.number_input(
            "Meet at least, % of needs", 50.0, 99.9, None, 1.0, key="service", help="Empty: what costs least.",
            persist_state=KEEP,
        )  # fmt: skip
        budget = left.number_input(
            "Spend at most, $", 0.0, None, None, 100.0, key="budget", help="Empty: no cap.", persist_state=KEEP
        )
    return data.Plan(from_date, to_date, summer, shelves, restock, service, budget)


filters = st.session_state["filters"]
layout.title("Before summer")
top = st.container()
plan = ask_plan()
order = data.stock(plan, filters)
answer = only(order.answer, filters.prop, filters.building)
lines = lines_to_order(answer)

with top:
    layout.say(opening(answer))
    layout.tell(service_sentence(order.service, order.season_cost))
    layout.download(lines, "Download the order", "order.csv")

layout.part("Where the parts go")
layout.pictures(order_pictures(answer, data.places(filters), layout.palette()))

layout.part("What the season will likely take")
layout.pictures(needs_picture(data.fan(plan, filters, ("component",)), layout.palette()))

layout.part("Every line, and why it is there")
layout.frame(lines, like=answer, first=SHOWN)
layout.rests_on(answer)
