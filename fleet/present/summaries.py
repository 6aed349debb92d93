"""Sums of an answer's own rows for the pictures: by building in walking order, by month, by year."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from fleet.answer import Answer
from fleet.present.numbers import as_date
from fleet.present.places import Places, in_walking_order, place_name

MONEY_KINDS = ("labor", "parts", "refrigerant", "other", "credit")
"""What the months of `costs_by_month` are drawn as: small multiples on one scale."""

_COST_COLUMNS = (*MONEY_KINDS, "total", "after_hours", "estimated")


def costs_by_month(costs: Answer) -> pd.DataFrame:
    """Return money by month, one row a month from the first to the last, zeros filled in."""
    table = costs.table.groupby("month")[list(_COST_COLUMNS)].sum()
    if table.empty:
        return table.reset_index()
    months = pd.period_range(table.index.min(), table.index.max(), freq="M").strftime("%Y-%m")
    return table.reindex(months, fill_value=0.0).rename_axis("month").reset_index()


def costs_by(costs: Answer, column: str) -> pd.DataFrame:
    """Return money by cause or another key column, the largest total first."""
    summed = costs.table.groupby(column)[list(_COST_COLUMNS)].sum().reset_index()
    return summed.sort_values("total", ascending=False, kind="stable").reset_index(drop=True)


def costs_by_building(costs: Answer, places: Places) -> pd.DataFrame:
    """Return money by building in walking order, with the column ``place``."""
    summed = costs.table.groupby(["property", "building"])[list(_COST_COLUMNS)].sum().reset_index()
    return named_places(summed, places)


def sections_by_building(drift: Answer, places: Places, advice: str) -> pd.DataFrame:
    """Return how many capacitor sections of each building carry an advice; buildings without any stand at zero."""
    table = drift.table
    if "building" not in table.columns:
        table = table.merge(places.tags[["equipment_id", "building"]], on="equipment_id", how="left")
    counts = table.assign(sections=(table["advice"] == advice).astype(int))
    summed = counts.groupby(["property", "building"])["sections"].sum().reset_index()
    return named_places(summed, places)


def sections_by_year(drift: Answer, *, years: int = 8) -> pd.DataFrame:
    """Return how many sections are expected to leave tolerance in each of the next years; one row a year."""
    days = [as_date(value) for value in drift.table["leaves_tolerance"]]
    first = drift.as_of.year
    counts = {year: sum(day is not None and day.year == year for day in days) for year in range(first, first + years)}
    counts[first] += sum(day is not None and day.year < first for day in days)
    return pd.DataFrame({"year": [str(year) for year in counts], "sections": list(counts.values())})


def order_by_shelf(stock: Answer, places: Places) -> pd.DataFrame:
    """Return pieces to order and their cost for each shelf in walking order, shops and other places last."""
    summed = stock.table.groupby(["property", "location"])[["to_order", "cost"]].sum().reset_index()
    ordered = in_walking_order(summed, places, place="location")
    return ordered.assign(place=_names(ordered, "location"))


def named_places(table: pd.DataFrame, places: Places) -> pd.DataFrame:
    """Return rows of buildings in walking order with their name in the column ``place``."""
    ordered = in_walking_order(table, places)
    return ordered.assign(place=_names(ordered, "building"))


def lines_to_order(stock: Answer) -> pd.DataFrame:
    """Return the lines of a stock plan with something to order, every column kept."""
    return stock.table[stock.table["to_order"] > 0].reset_index(drop=True)


def by_property(table: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    """Return a table cut by property, in the order of its rows: small multiples on one scale."""
    return [(str(name), rows.reset_index(drop=True)) for name, rows in table.groupby("property", sort=False)]


def head_by(table: pd.DataFrame, column: str, n: int = 12) -> pd.DataFrame:
    """Return the rows with the ``n`` largest values of a column, largest first."""
    return table.sort_values(column, ascending=False, kind="stable").head(n).reset_index(drop=True)


def _names(table: pd.DataFrame, place: str) -> Sequence[str]:
    return [
        place_name(str(prop), str(name) or "no building")
        for prop, name in zip(table["property"], table[place], strict=True)
    ]
