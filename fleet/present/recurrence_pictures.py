"""How often has a unit failed by each date or age, and whose failures grow more frequent? The curve and the trends."""

from __future__ import annotations

import altair as alt
import pandas as pd

from fleet.answer import Answer
from fleet.present.chart_parts import HOT_SAID, Chart, TimeAxis, checked, length_axis, tips, titled
from fleet.present.charts import draw_intervals
from fleet.present.numbers import about, as_date, counted
from fleet.present.pictures import Picture
from fleet.present.theme import LIGHT, Palette

CLOCKS = {"calendar": "the calendar", "age": "unit age"}
"""Along what the curve runs, and how a choice calls it."""


def recurrence_picture(recurrence: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the failures a unit has had on average, by date or by unit age; none where there was no failure."""
    rows = recurrence.table[recurrence.table["mean_failures"].notna()]
    if rows.empty:
        return []
    last = rows.iloc[-1]
    by_age = recurrence.settings.get("clock") == "age"
    day = as_date(last["day"])
    when = f"by an age of {last['years']:.0f} years" if by_age or day is None else f"by {day:%B} {day.year}"
    what = f"{last['component']} failures" if last["component"] else "failures"
    title = f"A unit has had {about(last['mean_failures'], last['low'], last['high'], unit=what)}, {when}"
    return [Picture(draw_mean_failures(rows, title, by_age=by_age, palette=palette), title)]


def trends_picture(trends: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw by what factor each component's failures grow more frequent a year, beside the line of no change."""
    rows = trends.table[(trends.table["component"] != "") & trends.table["yearly_factor"].notna()]
    if rows.empty:
        return []
    told = int((rows["verdict"] != "can't tell").sum())
    title = f"None of {counted(len(rows), 'component')} shows a trend of its own"
    if told:
        title = f"{told} of {counted(len(rows), 'component')} {'shows' if told == 1 else 'show'} a trend of its own"
    chart = draw_intervals(
        rows.sort_values("yearly_factor", ascending=False, kind="stable"), "component", title,
        unit="times as often each year", estimate="yearly_factor", reference=1.0, from_zero=False, palette=palette,
    )  # fmt: skip
    return [Picture(chart, title)]


def draw_mean_failures(table: pd.DataFrame, title: str, *, by_age: bool = False, palette: Palette = LIGHT) -> Chart:
    """Draw the mean number of failures a unit has had as a stair in its band, broken where too few were watched.

    Parameters
    ----------
    table : DataFrame
        Columns segment, day (by date) or years (by unit age), mean_failures, low, high. Each segment is a stair of its
        own that begins anew: no line crosses the time between.
    """
    x, unit = ("years" if by_age else "day"), "failures a unit has had"
    rows, left_out = checked(table, ["segment", x], ["mean_failures", "low", "high"])
    axis = _dates(rows) if not by_age else None
    along = length_axis(x, "unit age, years") if axis is None else axis.x("day")
    said = {f"{x}:Q" if by_age else "day:T": "age, years" if by_age else "day", "mean_failures:Q": unit}
    height = alt.Y("mean_failures:Q", title=unit, scale=alt.Scale(domainMin=0), axis=alt.Axis(tickCount=4))
    base = alt.Chart(rows).encode(x=along, detail="segment:N")
    band = base.mark_area(color=palette.steel, opacity=0.25, interpolate="step-after").encode(
        y=alt.Y("low:Q", title=unit, scale=alt.Scale(domainMin=0)), y2="high:Q"
    )
    stair = base.mark_line(color=palette.steel, strokeWidth=2, interpolate="step-after").encode(y=height)
    # one failure alone makes no line: every step is also a small point, which tells its numbers on demand
    steps = base.mark_circle(size=4, color=palette.steel, opacity=1).encode(
        y=height, tooltip=tips({**said, "low:Q": "low", "high:Q": "high"})
    )
    layers = [*([] if axis is None else [axis.hot_months(palette)]), band, stair, steps]
    broken = "Broken where fewer than five units were watched." if len(set(rows["segment"])) > 1 else ""
    subtitle = f"Band: how sure. {broken} {'' if by_age else HOT_SAID}"
    return titled(alt.layer(*layers), title, left_out=left_out, said=subtitle, height=300, palette=palette)


def _dates(rows: pd.DataFrame) -> TimeAxis:
    rows["day"] = pd.to_datetime(rows["day"], utc=True)
    return TimeAxis.over(rows["day"], "day of the report")
