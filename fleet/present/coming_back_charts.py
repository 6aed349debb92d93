"""The pictures of what comes back: shares in their funnel, buildings by month, runs of calls as time lines.

What happened is solid, what is expected or usual is outlined; the same mark means the same thing on every page.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

import altair as alt
import pandas as pd

from fleet.present.chart_parts import (
    HOT_SAID,
    TALL_ROWS,
    Chart,
    TimeAxis,
    checked,
    length_axis,
    rows_axis,
    tips,
    titled,
    with_room,
)
from fleet.present.theme import LIGHT, Palette

ROW_PX = 46
"""Height of one building's row of months."""

LINE_PX = 17
"""Height of one line of words in a run of calls."""

NOTHING_FOUND = ("no fault found", "not recorded")
"""Findings that name no fault; drawn hollow."""


def draw_funnel(table: pd.DataFrame, label: str, title: str, *, unit: str, palette: Palette = LIGHT) -> Chart:
    """Draw shares with their intervals over the range that work like others' shows in so many calls, one row a label.

    Parameters
    ----------
    table : DataFrame
        Columns ``label``, share, low, high, usual_share, usual_low, usual_high; rows with many calls first, so that
        the outlined ranges widen downward as a funnel.
    """
    numbers = ["share", "low", "high", "usual_share", "usual_low", "usual_high"]
    rows, left_out = checked(table, [label], numbers)
    said = {
        f"{label}:N": label, "share:Q": "share", "low:Q": "low", "high:Q": "high", "usual_low:Q": "like work, from",
        "usual_high:Q": "like work, to",
    }  # fmt: skip
    base = alt.Chart(rows).encode(y=rows_axis(list(rows[label]), label), tooltip=tips(said))

    def along(name: str) -> alt.X:
        return alt.X(f"{name}:Q", title=unit, scale=alt.Scale(zero=True), axis=alt.Axis(tickCount=5))

    funnel = base.mark_bar(
        height=18, color=palette.pine, fillOpacity=0.12, stroke=palette.pine, strokeWidth=1.5
    ).encode(x=along("usual_low"), x2="usual_high:Q")
    usual = base.mark_tick(height=18, thickness=1.5, color=palette.pine).encode(x=along("usual_share"))
    span = base.mark_rule(strokeWidth=2, color=palette.steel).encode(x=along("low"), x2="high:Q")
    dot = base.mark_circle(size=80, color=palette.steel, opacity=1).encode(x=along("share"))
    zero = alt.Chart(pd.DataFrame({"zero": [0.0]})).mark_rule(color=palette.rule).encode(x=along("zero"))
    layers = zero + funnel + usual + span + dot
    words = "Outlined: what work like others' shows in so many calls. Dot and line: the share and how sure it is."
    return titled(layers, title, left_out=left_out, said=words, height=TALL_ROWS, palette=palette)


def draw_limits(
    table: pd.DataFrame, label: str, title: str, *, unit: str, observed: str, palette: Palette = LIGHT
) -> Chart:
    """Draw what failed (solid) with its exact limits beside what was to be expected (outlined), one row a label.

    Parameters
    ----------
    table : DataFrame
        Columns ``label``, ``observed``, low, high, expected.
    """
    rows, left_out = checked(table, [label], [observed, "low", "high", "expected"])
    said = {f"{label}:N": label, f"{observed}:Q": "failed", "low:Q": "low", "high:Q": "high", "expected:Q": "expected"}
    base = alt.Chart(rows).encode(y=rows_axis(list(rows[label]), label), tooltip=tips(said))
    axis = f"{unit}; solid: failed, outlined: expected"
    span = base.mark_bar(height=8, color=palette.brick, opacity=0.25).encode(x=length_axis("low", axis), x2="high:Q")
    plan = base.mark_point(size=120, filled=False, strokeWidth=2.5, color=palette.pine, opacity=1)
    seen = base.mark_circle(size=90, color=palette.brick, opacity=1)
    layers = span + seen.encode(x=length_axis(observed, axis)) + plan.encode(x=length_axis("expected", axis))
    words = "Band: the exact limits of what failed."
    return titled(layers, title, left_out=left_out, said=words, palette=palette)


def draw_building_months(
    table: pd.DataFrame, heaps: pd.DataFrame, title: str, *, upper: float, palette: Palette = LIGHT
) -> Chart:
    """Draw failures by building and month beside what was expected: one row a building, all on one scale.

    Parameters
    ----------
    table : DataFrame
        Columns place, month (YYYY-MM), observed, expected; buildings in walking order.
    heaps : DataFrame
        Columns place, from_date, to_date: spells named by the scan, framed in their building's row; may be empty.
    upper : float
        Failures a full row stands for, so that several charts share one scale.
    """
    rows, left_out = checked(table, ["place", "month"], ["observed", "expected"])
    order = list(dict.fromkeys(rows["place"]))
    floor = rows["place"].map({name: -(i + 1.0) for i, name in enumerate(order)})
    rows["from_day"] = pd.to_datetime(rows["month"] + "-01", utc=True)
    rows["to_day"] = rows["from_day"] + pd.Timedelta(days=27)
    rows = rows.assign(
        floor=floor, seen_top=floor + 0.9 * rows["observed"] / upper, usual_top=floor + 0.9 * rows["expected"] / upper
    )
    axis = TimeAxis.over(pd.concat([rows["from_day"], rows["to_day"]]), "month of the report")
    y = _Rows(order)
    said = tips({"place:N": "building", "month:N": "month", "observed:Q": "failures", "expected:Q": "expected"})
    base = alt.Chart(rows).encode(x=axis.x("from_day"), x2="to_day:T", tooltip=said)
    seen = base.mark_bar(color=palette.brick).encode(y=y("seen_top"), y2="floor:Q")
    usual = base.mark_bar(color=palette.pine, fillOpacity=0.0, stroke=palette.pine, strokeWidth=1.2).encode(
        y=y("usual_top"), y2="floor:Q"
    )
    floors = alt.Chart(pd.DataFrame({"floor": [-(i + 1.0) for i in range(len(order))]}))
    grounds = floors.mark_rule(color=palette.rule).encode(y=y("floor"))
    layers = [axis.hot_months(palette), grounds, seen, usual, *_framed(heaps, order, axis, y, palette)]
    framed = " Framed: a heap chance doesn't explain." if len(layers) > 4 else ""
    words = (
        f"Solid: failures; outlined: expected by season and age.{framed} A row is {upper:.0f} failures high. {HOT_SAID}"
    )
    height = with_room(ROW_PX * max(len(order), 1), title, words)
    return titled(alt.layer(*layers), title, left_out=left_out, said=words, height=height, palette=palette)


class _Rows:
    """A vertical axis of rows with names, each one high, the first on top."""

    def __init__(self, order: Sequence[str]) -> None:
        self.scale = alt.Scale(domain=[-float(len(order)), 0.0], nice=False)
        middles = [-(i + 0.6) for i in range(len(order))]
        # an axis of numbers can't carry names by itself: its labels are looked up by their row
        names = f"{json.dumps(list(order))}[round(-datum.value - 0.6)]"
        self.axis = alt.Axis(values=middles, labelExpr=names, grid=False, labelLimit=110)

    def __call__(self, column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", title=None, scale=self.scale, axis=self.axis)


def _framed(heaps: pd.DataFrame, order: Sequence[str], axis: TimeAxis, y: _Rows, palette: Palette) -> list[alt.Chart]:
    """Return the frames of the heaps that fall into the months drawn."""
    here = heaps[heaps["place"].isin(order)]
    days = {name: pd.to_datetime(here[name], utc=True) for name in ("from_date", "to_date")}
    first, last = (pd.Timestamp(day, tz="UTC") for day in (axis.first, axis.last))
    frames = here.assign(**days)
    frames = frames[(frames["to_date"] >= first) & (frames["from_date"] <= last)]
    if frames.empty:
        return []
    top = frames["place"].map({name: -float(i) for i, name in enumerate(order)})
    starts = [max(first, start) for start in frames["from_date"]]
    ends = [min(last, end) for end in frames["to_date"]]
    frames = frames[["place"]].assign(from_date=starts, to_date=ends, top=top - 0.04, floor=top - 1.0)
    mark = alt.Chart(frames).mark_rect(
        color=palette.ochre, fillOpacity=0.18, stroke=palette.ink, strokeWidth=1.5, strokeDash=[3, 2]
    )
    return [mark.encode(x=axis.x("from_date"), x2="to_date:T", y=y("top"), y2="floor:Q")]


def draw_runs(table: pd.DataFrame, title: str, *, palette: Palette = LIGHT) -> Chart:
    """Draw runs of calls as time lines: one line a run, a mark a call along the days, what was found under each mark.

    Parameters
    ----------
    table : DataFrame
        Columns run, name (said above the line), days (since the run's first call), nth (1, 2, …), finding.
    """
    rows, left_out = checked(table, ["run", "name", "finding"], ["days", "nth"])
    heights = rows.groupby("run", sort=False)["nth"].max() + 2.9
    top = heights.cumsum() - heights
    rows["line"] = -(rows["run"].map(top) + 1.7)
    rows["word"] = rows["line"] - rows["nth"] - 0.1
    longest = max(float(rows["days"].max()) if len(rows) else 0.0, 1.0)
    rows["said"] = [
        f"day {day:.0f}: {what}" if day else what for day, what in zip(rows["days"], rows["finding"], strict=True)
    ]
    scale = alt.Scale(domain=[-max(float(heights.sum()), 1.0), 0.0], nice=False)
    # the words of a late call stand on its left, so that none runs over the edge
    rows["late"] = rows["days"] > 0.5 * longest
    rows["found"] = ~rows["finding"].isin(NOTHING_FOUND)
    rows["whole"] = rows.groupby("run")["days"].transform("max")
    tip = tips({"name:N": "unit", "days:Q": "days since the first call", "finding:N": "found"})
    base = alt.Chart(rows).encode(y=alt.Y("line:Q", scale=scale, axis=None), tooltip=tip)
    along = length_axis("days", "days since the first call", longest * 1.04)
    first = base.transform_filter("datum.nth == 1")
    rail = first.mark_rule(color=palette.quiet).encode(x=along, x2="whole:Q")
    name = first.mark_text(align="left", dx=-4, dy=-14, fontWeight=600, color=palette.ink).encode(
        x=along, text="name:N"
    )
    stem = base.mark_rule(color=palette.rule).encode(x=along, y2="word:Q")
    call = base.transform_filter("datum.found").mark_circle(size=90, color=palette.brick, opacity=1).encode(x=along)
    blank = (
        base.transform_filter("!datum.found")
        .mark_point(size=80, filled=True, fill=palette.paper, stroke=palette.brick, strokeWidth=2, opacity=1)
        .encode(x=along)
    )
    words = alt.Chart(rows).encode(x=along, y=alt.Y("word:Q", scale=scale, axis=None), text="said:N")
    right = words.transform_filter("!datum.late").mark_text(align="left", dx=4, color=palette.quiet)
    left = words.transform_filter("datum.late").mark_text(align="right", dx=-4, color=palette.quiet)
    layers = alt.layer(stem, rail, call, blank, name, right, left)
    subtitle = "One line a unit, one mark a call; hollow: no fault found."
    height = with_room(LINE_PX * max(float(heights.sum()), 1.0), title, subtitle)
    return titled(layers, title, left_out=left_out, said=subtitle, height=height, palette=palette)
