"""Which pictures belong to what comes back and what fails together?"""

from __future__ import annotations

import pandas as pd

from fleet.analysis.poisson import garwood_limits
from fleet.answer import Answer
from fleet.present.charts import draw_intervals, draw_observed_expected
from fleet.present.coming_back_charts import draw_building_months, draw_funnel, draw_limits, draw_runs
from fleet.present.numbers import about, counted, day, finite, money, month
from fleet.present.pictures import Picture, each_property
from fleet.present.places import Places
from fleet.present.summaries import callbacks_by, named_clusters, named_lots, named_places
from fleet.present.theme import LIGHT, Palette
from fleet.settings import LEVEL

EVERY_YEAR = "all years"
RUNS_SHOWN = 6

_SHARES = ("share", "low", "high", "usual_share", "usual_low", "usual_high")


def callbacks_picture(callbacks: Answer, by: str, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the shares that came back over the range like work shows; most calls first, so no table of the best."""
    rows = callbacks_by(callbacks, by)
    if rows.empty or rows["usual_share"].isna().all():
        return []
    names = [f"{value}\n{counted(calls, 'call')}" for value, calls in zip(rows["value"], rows["calls"], strict=True)]
    shown = rows.assign(name=names, **{name: 100 * rows[name] for name in _SHARES})
    title = f"Came back beyond chance, by {by}, beside like work"
    chart = draw_funnel(shown, "name", title, unit="percent of calls", palette=palette)
    return [Picture(chart, title)]


def runs_picture(runs: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the runs with most calls as time lines."""
    first = list(dict.fromkeys(runs.table["run"]))[:RUNS_SHOWN]
    rows = runs.table[runs.table["run"].isin(first)]
    if rows.empty:
        return []
    begins = rows.groupby("run")["first_on"].transform("min")
    names = [
        f"{tag}, from {day(start)}" + (f", {money(cost)}" if finite(cost) else "")
        for tag, start, cost in zip(rows["equipment_id"], begins, rows["run_cost"], strict=True)
    ]
    shown = rows.assign(name=names, nth=rows.groupby("run").cumcount() + 1)
    title = f"The {counted(len(first), 'longest run', 'longest runs')} of call-backs"
    title = "The longest run of call-backs" if len(first) == 1 else title
    return [Picture(draw_runs(shown, title, palette=palette), title)]


def month_years(months: Answer) -> tuple[str, ...]:
    """Return what years of building-months there are to choose from, all of them first, then the latest."""
    years = sorted({str(name)[:4] for name in months.table["month"]}, reverse=True)
    return (EVERY_YEAR, *years)


def months_pictures(
    months: Answer, clusters: Answer, places: Places, year: str = EVERY_YEAR, palette: Palette = LIGHT
) -> list[Picture]:
    """Draw failures by building and month beside what was expected, one picture a property, all on one scale.

    Parameters
    ----------
    months, clusters : Answer
        `fleet.analysis.months.compare_months` and the named heaps of `fleet.analysis.clusters.scan_clusters`.
    year : str
        One of `month_years`.
    """
    rows = named_places(months.table, places)
    rows = rows if year == EVERY_YEAR else rows[rows["month"].str.startswith(year)]
    edge = max(float(rows[["observed", "expected"]].max().max()), 1.0) if len(rows) else 1.0
    heaps = clusters.table[clusters.table["alert"] == "yes"]

    def draw(name: str, part: pd.DataFrame) -> Picture:
        here = heaps[heaps["property"] == name]
        frames = here[["from_date", "to_date"]].assign(place=[_short(str(b)) for b in here["building"]])
        shown = part.assign(place=[_short(str(b)) for b in part["building"]])
        title = _furthest(name, part)
        return Picture(draw_building_months(shown, frames, title, upper=edge, palette=palette), title)

    return each_property(rows, draw)


def lots_picture(lots: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw what failed of the judged lots furthest from chance, with exact limits, beside what was expected."""
    rows = named_lots(lots)
    if rows.empty:
        return []
    failed = rows["failed"].to_numpy(dtype=float)
    limits = garwood_limits(failed, 1.0, LEVEL)
    title = f"Furthest from chance: {rows['name'].iloc[0]}"
    shown = rows.assign(low=limits[0], high=limits[1])
    return [Picture(draw_limits(shown, "name", title, unit="parts", observed="failed", palette=palette), title)]


def clusters_picture(clusters: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw failed against expected failures of the likeliest heaps."""
    rows = named_clusters(clusters)
    if rows.empty:
        return []
    title = f"Likeliest heap: {rows['name'].iloc[0]}"
    shown = rows.assign(name=[name.replace(", ", "\n", 1) for name in rows["name"]])
    return [Picture(draw_observed_expected(shown, "name", title, unit="failures", palette=palette), title)]


def new_parts_picture(new_parts: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the share bad of each part number tested, most tests first, beside the share that would be trusted."""
    rows = new_parts.table[(new_parts.table["by"] == "part_no") & new_parts.table["share"].notna()]
    if rows.empty:
        return []
    rows = rows.sort_values("tested", ascending=False, kind="stable").head(12)
    names = [f"{part}, {counted(n, 'test')}" for part, n in zip(rows["part_no"], rows["tested"], strict=True)]
    shown = rows.assign(name=names, **{name: 100 * rows[name] for name in ("share", "low", "high")})
    limit = finite(new_parts.settings.get("limit_share"))
    title = "Bad when tested before fitting, by part number"
    chart = draw_intervals(
        shown, "name", title, unit="percent; dotted: trusted below", estimate="share",
        reference=None if limit is None else 100 * limit, palette=palette,
    )  # fmt: skip
    return [Picture(chart, title)]


def _short(building: str) -> str:
    return f"building {building}" if building[:1].isdigit() else building or "no building"


def _furthest(name: str, rows: pd.DataFrame) -> str:
    """Say which of these building-months is furthest above what was expected."""
    ranked = rows[rows["p_value"].notna()].sort_values("p_value", kind="stable")
    where = name or "All buildings"
    if ranked.empty:
        return where
    top = ranked.iloc[0]
    return (
        f"{where}: furthest above what was expected, {_short(str(top['building']))} in {month(str(top['month']))}, "
        f"{top['observed']:.0f} where {about(top['expected'])} was expected"
    )
