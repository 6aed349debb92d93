"""Refrigerant: which units are topped up again and again, how fast do they seem to leak, how many pounds to order?"""

from __future__ import annotations

import streamlit as st

from dashboards import data, layout
from fleet.present.people_pictures import order_picture, refrigerant_picture
from fleet.present.places import only
from fleet.present.sentences import opening
from fleet.trade.cautions import cautions_on

UNITS = (
    "equipment_id", "top_ups", "unmended", "top_up_oz", "oz_per_year", "low", "high", "annualized_pct", "rolling_pct",
    "rolling_now_pct", "last_on", "refrigerant", "charge_oz", "safety_class", "rule", "alert", "building", "note",
)  # fmt: skip
ORDER = (
    "refrigerant", "mean_lb", "low", "high", "q95", "safety_class", "units", "additions", "added_lb",
    "oz_per_unit_year", "note",
)  # fmt: skip

filters = st.session_state["filters"]
units = only(data.answer("refrigerant", filters), filters.prop, filters.building)
order = data.answer("refrigerant order", filters)

layout.title("Refrigerant")
layout.say(opening(units))
layout.cautions(cautions_on("refrigerant"))
layout.part("Unit by unit")
layout.tell(*units.notes[:1])
layout.pictures(refrigerant_picture(units, layout.palette()))
layout.table(units, "Download the units", "refrigerant.csv", first=UNITS)
layout.rests_on(units)

layout.part("Pounds to order")
layout.tell(opening(order), "Pounds are for all properties; what stands in the shop is not taken off.")
layout.pictures(order_picture(order, layout.palette()))
layout.table(order, "Download the pounds", "refrigerant_order.csv", first=ORDER)
layout.rests_on(order)
