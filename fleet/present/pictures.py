"""Which pictures belong to an answer? From answers to titled charts; small multiples share one scale.

Each picture comes with the sentence that is read to those who can't see it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import pandas as pd

from fleet.answer import Answer
from fleet.present.chart_parts import Chart
from fleet.present.charts import (
    draw_counts,
    draw_deviations,
    draw_events,
    draw_expected,
    draw_fan,
    draw_intervals,
    draw_months,
    draw_planned,
    draw_scatter,
)
from fleet.present.numbers import about, counted, money, percent
from fleet.present.one_unit import SECTIONS, UnitHistory
from fleet.present.places import Places
from fleet.present.summaries import (
    MONEY_KINDS,
    all_components,
    by_property,
    costs_by,
    costs_by_building,
    costs_by_month,
    head_by,
    named_places,
    order_by_shelf,
    sections_by_building,
    sections_by_year,
    top_edge,
)
from fleet.present.theme import LIGHT, Palette


class Picture(NamedTuple):
    """A chart and what it shows, in words."""

    chart: Chart
    said: str


def order_pictures(stock: Answer, places: Places, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the pieces to order for each shelf, in walking order; one picture a property."""
    shelves = order_by_shelf(stock, places)
    edge = top_edge(shelves, "to_order")

    def draw(name: str, rows: pd.DataFrame) -> Picture:
        title = f"{_parts(rows['to_order'])} for {name or 'all buildings'}"
        return Picture(
            draw_planned(rows, "place", "to_order", title, unit="pieces to order", upper=edge, palette=palette), title
        )

    return each_property(shelves, draw)


def needs_picture(needs: pd.DataFrame, palette: Palette = LIGHT) -> list[Picture]:
    """Draw a season's needs by component as fans, the largest first."""
    rows = head_by(needs, "mean")
    if rows.empty:
        return []
    top = rows.iloc[0]
    title = f"Most needed: {top['component']}, {about(top['mean'], top['q05'], top['q95'])}"
    return [Picture(draw_fan(rows, "component", title, upper=top_edge(rows, "q95"), palette=palette), title)]


def building_needs_pictures(needs: pd.DataFrame, places: Places, palette: Palette = LIGHT) -> list[Picture]:
    """Draw each building's needs as outlined bars in walking order; one picture a property."""
    rows = named_places(needs, places)
    edge = top_edge(rows, "q95")

    def draw(name: str, part: pd.DataFrame) -> Picture:
        title = f"{name or 'All buildings'}: {about(part['mean'].sum(), unit='parts')}"
        return Picture(draw_expected(part, "place", title, upper=edge, palette=palette), title)

    return each_property(rows, draw)


def building_rates_pictures(rates: Answer, places: Places, palette: Palette = LIGHT) -> list[Picture]:
    """Draw each building's failure rate with its interval, in walking order; one picture a property."""
    rows = named_places(all_components(rates), places)
    edge = top_edge(rows, "shrunk_high")

    def draw(name: str, part: pd.DataFrame) -> Picture:
        worst = part.sort_values("shrunk_rate", ascending=False).iloc[0]
        title = (
            f"Most often in {worst['place']}: {about(worst['shrunk_rate'], worst['shrunk_low'], worst['shrunk_high'])}"
        )
        chart = draw_intervals(
            part, "place", title, unit="failures per unit-year", estimate="shrunk_rate", low="shrunk_low",
            high="shrunk_high", upper=edge, palette=palette,
        )  # fmt: skip
        return Picture(chart, title)

    return each_property(rows, draw)


def failures_picture(days: pd.DataFrame, tags: Sequence[str], palette: Palette = LIGHT) -> list[Picture]:
    """Draw every failure of some units as a dot on the day of its report, the units in the order given."""
    if days.empty:
        return []
    days = days.sort_values("equipment_id", key=lambda names: names.map(list(tags).index), kind="stable")
    title = f"{counted(len(days), 'failure')} of {counted(days['equipment_id'].nunique(), 'unit')}"
    return [Picture(draw_events(days, "equipment_id", title, palette=palette), title)]


def readings_pictures(unit: UnitHistory, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the readings of each run section of a unit against its tolerance."""
    read = unit.readings[unit.readings["off_pct"].notna()]
    pictures = []
    for section, name in SECTIONS.items():
        rows = read[read["section"] == section]
        if not rows.empty:
            title = f"{name.capitalize()}: {counted(len(rows), 'reading')}"
            pictures.append(Picture(draw_deviations(rows, title, palette=palette), title))
    return pictures


def sections_pictures(drift: Answer, places: Places, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the capacitor sections to change and to measure again, by building in walking order."""
    pictures = []
    for advice, color in (("change", "brick"), ("measure again", "ochre")):
        rows = sections_by_building(drift, places, advice)
        title = f"{advice.capitalize()}: {counted(rows['sections'].sum(), 'section')}"
        chart = draw_counts(rows, "place", "sections", title, unit="sections", color=color, palette=palette)
        pictures.append(Picture(chart, title))
    return pictures


def leaving_picture(drift: Answer, palette: Palette = LIGHT) -> Picture:
    """Draw how many sections are expected to leave their tolerance in each of the next years."""
    years = sections_by_year(drift)
    title = f"{counted(years['sections'].sum(), 'section')} by the end of {years['year'].iloc[-1]}"
    unit = "sections expected to leave tolerance"
    return Picture(draw_planned(years, "year", "sections", title, unit=unit, palette=palette), title)


def meters_picture(meters: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw how far each meter reads off the others."""
    if meters.table.empty:
        return []
    title = "How far each meter reads off the others"
    chart = draw_intervals(
        meters.table, "meter", title, unit="percent; positive reads high", estimate="bias_pct", reference=0.0,
        from_zero=False, palette=palette,
    )  # fmt: skip
    return [Picture(chart, title)]


def months_pictures(costs: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw labor, parts, refrigerant, other money and credit by month: small multiples on one scale."""
    months = costs_by_month(costs)
    edge = top_edge(months, *MONEY_KINDS)
    pictures = []
    for kind in MONEY_KINDS if len(months) else ():
        title = f"{kind.capitalize()}: {money(months[kind].sum())}"
        chart = draw_months(months, kind, title, unit="dollars a month", upper=edge, palette=palette)
        pictures.append(Picture(chart, title))
    return pictures


def heat_pictures(seasons: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw calls by month, and calls per unit-year against the month's heat."""
    table = seasons.table
    rows = table[table["property"] == ""] if (table["property"] == "").any() else table
    if rows.empty:
        return []
    title = f"{counted(rows['calls'].sum(), 'call')} in {counted(rows['month'].nunique(), 'month')}"
    pictures = [Picture(draw_months(rows, "calls", title, unit="calls a month", height=300, palette=palette), title)]
    hot = rows[rows["degree_days"].notna() & rows["rate"].notna()]
    if hot.empty:
        return pictures
    title, x = "Each month: its heat and its calls", "cooling degree days, °F, base 65"
    y = "calls per unit-year"
    chart = draw_scatter(hot, "degree_days", "rate", title, x_unit=x, y_unit=y, name="month", palette=palette)
    return [*pictures, Picture(chart, title)]


def causes_picture(costs: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw money by cause, the largest first."""
    rows = costs_by(costs, "cause")
    total = rows["total"].sum()
    if not total > 0:
        return []
    named = rows[rows["cause"] != "not recorded"]
    lead = named.iloc[0] if len(named) else rows.iloc[0]
    title = f"Of the causes named, {lead['cause']} takes most: {percent(lead['total'] / total)} of the money"
    chart = draw_counts(head_by(rows, "total"), "cause", "total", title, unit="dollars", palette=palette)
    return [Picture(chart, title)]


def building_costs_pictures(costs: Answer, places: Places, palette: Palette = LIGHT) -> list[Picture]:
    """Draw money by building in walking order; one picture a property."""
    rows = costs_by_building(costs, places)
    edge = top_edge(rows, "total")

    def draw(name: str, part: pd.DataFrame) -> Picture:
        title = f"{name or 'All buildings'}: {money(part['total'].sum())}"
        return Picture(draw_counts(part, "place", "total", title, unit="dollars", upper=edge, palette=palette), title)

    return each_property(rows, draw)


def each_property(rows: pd.DataFrame, draw: Callable[[str, pd.DataFrame], Picture]) -> list[Picture]:
    """Draw one picture a property; inside it a building goes by its own name alone."""
    drawn = []
    for name, part in by_property(rows):
        short = [place.removeprefix(f"{name} ") if name else place for place in part["place"]]
        drawn.append(draw(name, part.assign(place=[f"building {s}" if s[:1].isdigit() else s for s in short])))
    return drawn


def _parts(pieces: pd.Series[float]) -> str:
    return counted(float(pieces.sum()), "part").capitalize()
