"""Sums of an answer's own rows for the pictures: by building in walking order, by month, by year."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence

import pandas as pd

from fleet.analysis.lot_screen import FEWEST_FITTED
from fleet.answer import Answer
from fleet.ingest.report import LoadReport
from fleet.ingest.rules import words_of
from fleet.present.failing_words import LIKELY
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
    """Return how many sections are outside tolerance now and expected to leave it in each of the next years."""
    known = [day for day in map(as_date, drift.table["leaves_tolerance"]) if day is not None]
    ahead = Counter(str(day.year) if day > drift.as_of else "now" for day in known)
    first = (drift.as_of + dt.timedelta(days=1)).year
    rows = ["now", *(str(year) for year in range(first, first + years))]
    return pd.DataFrame({"year": rows, "sections": [ahead[row] for row in rows]})


def order_by_shelf(stock: Answer, places: Places) -> pd.DataFrame:
    """Return pieces to order and their cost for each shelf in walking order, the shop last, idle vans left out."""
    pieces = stock.table[stock.table["component"] != "refrigerant"]  # refrigerant is ordered in pounds
    summed = pieces.groupby(["property", "location"])[["to_order", "cost"]].sum().reset_index()
    summed = summed[(summed["to_order"] > 0) | summed["location"].isin(places.walk["building"])]
    ordered = in_walking_order(summed, places, place="location")
    return ordered.assign(place=_names(ordered, "location"))


def named_places(table: pd.DataFrame, places: Places) -> pd.DataFrame:
    """Return rows of buildings in walking order with their name in the column ``place``."""
    ordered = in_walking_order(table, places)
    return ordered.assign(place=_names(ordered, "building"))


def all_components(rates: Answer) -> pd.DataFrame:
    """Return the rows of all components together."""
    return rates.table[rates.table["component"] == ""].reset_index(drop=True)


def likely_bad(units: Answer) -> pd.DataFrame:
    """Return the units that more likely than not fail over twice as often as their kind, the surest first."""
    return head_by(units.table[units.table["p_bad"] > LIKELY], "p_bad", n=25)


def named_components(trends: Answer) -> dict[str, str]:
    """Return the components of an answer and how a choice calls them, all together first."""
    names = [str(name) for name in trends.table["component"] if name]
    return {"": "everything", **{name: name for name in names}}


def needing_action(drift: Answer) -> pd.DataFrame:
    """Return the sections to change or to measure again, the weakest first."""
    chosen = drift.table[drift.table["advice"].isin(["change", "measure again"])]
    return chosen.sort_values(["advice", "pct"], kind="stable").reset_index(drop=True)


def callbacks_by(callbacks: Answer, by: str) -> pd.DataFrame:
    """Return the call-backs of one comparison, the most calls first: no table of the best."""
    rows = callbacks.table[callbacks.table["by"] == by]
    return rows.sort_values("calls", ascending=False, kind="stable").reset_index(drop=True)


def named_lots(lots: Answer, n: int = 10) -> pd.DataFrame:
    """Return the lots furthest from chance with a name for a picture, lots of too few parts to judge left out."""
    judged = lots.table[lots.table["p_value"].notna() & (lots.table["fitted"] >= FEWEST_FITTED)]
    rows = judged.sort_values("p_value", kind="stable").head(n)
    return rows.assign(name=[f"{part} lot {lot}" for part, lot in zip(rows["part_no"], rows["lot"], strict=True)])


def named_clusters(clusters: Answer, n: int = 8) -> pd.DataFrame:
    """Return the likeliest heaps with a name for a picture."""
    rows = clusters.table[clusters.table["p_value"].notna()].sort_values("p_value", kind="stable").head(n)
    keys = (rows["property"], rows["building"], rows["component"], rows["from_date"])
    names = [f"{place_name(p, b)}, {what or 'all'}, {str(day)[:7]}" for p, b, what, day in zip(*keys, strict=True)]
    return rows.assign(name=names)


def reasons_table(report: LoadReport) -> pd.DataFrame:
    """Return why records were set aside, in words where there are some, the most frequent first."""
    rows = [
        (table, standing, reason.replace("_", " "), words_of(reason), n)
        for table, standing, reason, n in report.reasons
    ]
    return head_by(
        pd.DataFrame(rows, columns=["table", "standing", "rule", "meaning", "records"]), "records", n=len(rows)
    )


def notices_table(report: LoadReport) -> pd.DataFrame:
    """Return what was changed or flagged on the way in, the most frequent first."""
    rows = [(table, rule.replace("_", " "), words_of(rule), n) for table, rule, n in report.notices]
    return head_by(pd.DataFrame(rows, columns=["table", "rule", "meaning", "records"]), "records", n=len(rows))


def missing_table(report: LoadReport) -> pd.DataFrame:
    """Return what the log can't answer in full: the answer, the columns it wants, and what is given instead."""
    rows = [(one.answer, ", ".join(one.columns), one.instead) for one in report.missing]
    return pd.DataFrame(rows, columns=["answer", "wants", "instead"])


def loaded_files(loads: pd.DataFrame) -> pd.DataFrame:
    """Return the loads as a page shows them: number, day, origin, how many files, megabytes."""
    shown = loads[["number", "loaded_on", "origin", "files"]].copy()
    shown["megabytes"] = (loads["bytes"] / 1e6).round(1)
    return shown


def top_edge(table: pd.DataFrame, *columns: str) -> float:
    """Return where the common scale of small multiples ends: a little above the largest value."""
    largest = table[list(columns)].max().max() if len(table) else 0.0
    return float(largest) * 1.12 if largest > 0 else 1.0


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
