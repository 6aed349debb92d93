"""Which pictures belong to hours without cooling and to refrigerant?"""

from __future__ import annotations

from fleet.answer import Answer
from fleet.present.charts import draw_counts, draw_expected, draw_intervals
from fleet.present.numbers import about, counted
from fleet.present.pictures import Picture
from fleet.present.theme import LIGHT, Palette

SHOWN = 12


def waits_picture(waits: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw within how many hours half of the calls had cooling back, priority homes first."""
    rows = waits.table[waits.table["median_hours"].notna()]
    if rows.empty:
        return []
    words = {"priority": "priority homes", "other": "other homes", "all": "all homes"}
    names = [
        " ".join(filter(None, (str(prop), f"{words.get(homes, homes)}, {counted(calls, 'call')}")))
        for prop, homes, calls in zip(rows["property"], rows["homes"], rows["calls"], strict=True)
    ]
    title = "Half had cooling back within so many hours"
    chart = draw_intervals(
        rows.assign(name=names), "name", title, unit="hours from the report", estimate="median_hours", palette=palette
    )
    return [Picture(chart, title)]


def homes_picture(homes: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the hours without cooling of the priority homes that went longest, or of all homes where none is marked."""
    table = homes.table
    marked = (table["priority_home"] == "yes").any()
    rows = (table[table["priority_home"] == "yes"] if marked else table).sort_values(
        "hours", ascending=False, kind="stable"
    )
    if rows.empty:
        return []
    top = rows.iloc[0]
    who = "Priority homes" if marked else "Homes"
    title = f"{who}: longest at {top['equipment_id']}, {about(top['hours'], unit='hours')}"
    chart = draw_counts(
        rows.head(SHOWN), "equipment_id", "hours", title, unit="hours without cooling in all", color="brick",
        palette=palette,
    )  # fmt: skip
    return [Picture(chart, title)]


def part_waits_picture(part_waits: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the hours without cooling spent waiting for each part, most first."""
    rows = part_waits.table[part_waits.table["component"] != ""]
    if rows.empty:
        return []
    title = f"Most hours waiting for a part: {rows.iloc[0]['component']}"
    chart = draw_counts(
        rows.head(SHOWN), "component", "hours", title, unit="hours without cooling, waiting for it", palette=palette
    )
    return [Picture(chart, title)]


def refrigerant_picture(refrigerant: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the ounces a year of the units topped up most often since a repair, with their limits."""
    rows = refrigerant.table[(refrigerant.table["top_ups"] > 0) & refrigerant.table["oz_per_year"].notna()]
    if rows.empty:
        return []
    shown = rows.head(SHOWN)
    names = [f"{tag}, {counted(n, 'top-up')}" for tag, n in zip(shown["equipment_id"], shown["top_ups"], strict=True)]
    title = f"Topped up most since a repair: {shown.iloc[0]['equipment_id']}"
    chart = draw_intervals(
        shown.assign(name=names), "name", title, unit="ounces a year in service", estimate="oz_per_year",
        palette=palette,
    )  # fmt: skip
    return [Picture(chart, title)]


def order_picture(order: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the pounds of each refrigerant the next 12 months will likely take."""
    rows = order.table[order.table["mean_lb"].notna() & (order.table["additions"] > 0)]
    if rows.empty:
        return []
    top = rows.iloc[0]
    title = f"Next 12 months: {about(top['mean_lb'], top['q05'], top['q95'])} pounds of {top['refrigerant']}"
    chart = draw_expected(rows.assign(mean=rows["mean_lb"]), "refrigerant", title, unit="pounds", palette=palette)
    return [Picture(chart, title)]
