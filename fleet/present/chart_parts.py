"""What every chart shares: checked data, the theme, time axes with the hot months shaded, intervals, counts as dots."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

import altair as alt
import numpy as np
import pandas as pd

from fleet.errors import SchemaError
from fleet.present.numbers import counted, unbroken
from fleet.present.theme import LIGHT, Palette, chart_config

Chart = alt.Chart | alt.LayerChart

MAX_ROWS = 2_000
"""More marks than this are no picture any more; aggregate first."""

DOTS_BELOW = 5
"""Counts below this are drawn as dots that can be counted."""

HOT_MONTHS = (6, 7, 8, 9)
"""June to September, shaded on every time axis (common practice, no source)."""

HOT_SAID = "Shaded: June to September."
"""What is said of that shade."""

ROWS = alt.Step(26)
"""Height of a chart of labelled rows: so many pixels a row."""

TALL_ROWS = alt.Step(38)
"""The same where labels take two lines."""


def checked(table: pd.DataFrame, columns: Sequence[str], numbers: Sequence[str] = ()) -> tuple[pd.DataFrame, int]:
    """Return the rows a chart can draw, and how many were left out for want of a finite number.

    Raises
    ------
    SchemaError
        If a column is missing or there are more than ``MAX_ROWS`` rows.
    """
    missing = [name for name in (*columns, *numbers) if name not in table.columns]
    if missing:
        msg = f"the chart needs the columns {', '.join(missing)}; the table has {', '.join(map(str, table.columns))}"
        raise SchemaError(msg)
    if len(table) > MAX_ROWS:
        msg = f"{len(table)} rows are more than a chart can show ({MAX_ROWS}); sum them up first"
        raise SchemaError(msg)
    kept = table[list(dict.fromkeys((*columns, *numbers)))].copy()
    for name in numbers:
        kept[name] = pd.to_numeric(kept[name], errors="coerce").astype(float)
    sound = np.isfinite(kept[list(numbers)].to_numpy(dtype=float)).all(axis=1)
    return kept.loc[sound].reset_index(drop=True), int((~sound).sum())


def titled(
    chart: alt.LayerChart | alt.Chart | alt.FacetChart, title: str, *, left_out: int = 0, said: str = "",
    height: float | alt.Step = ROWS, palette: Palette = LIGHT,
) -> Chart:  # fmt: skip
    """Give a chart its finding as title, what was left out as subtitle, its height and the theme."""
    more = f"{counted(left_out, 'row')} without a number left out" if left_out else ""
    lines = [line for text in (said, more) for line in folded(text)]
    heading = alt.TitleParams(folded(title), subtitle=lines) if lines else alt.TitleParams(folded(title))
    sized = chart.properties(title=heading, width="container", height=height)
    return cast("Chart", sized.configure(**chart_config(palette)))


def folded(text: str, room: int = 40) -> list[str]:
    """Break a title into lines a phone can show."""
    lines: list[str] = []
    for word in unbroken(text).split(" "):
        if not word:
            continue
        if lines and len(lines[-1]) + 1 + len(word) <= room:
            lines[-1] += " " + word
        else:
            lines.append(word)
    return lines


def rows_axis(labels: Sequence[str], column: str) -> alt.Y:
    """Return a vertical axis of labelled rows in the order given; a label breaks where a line of it ends."""
    axis = alt.Axis(labelLimit=150)
    if any("\n" in str(label) for label in labels):
        axis = alt.Axis(labelLimit=150, labelExpr="split(datum.label, '\\n')")
    return alt.Y(f"{column}:N", sort=list(labels), title=None, axis=axis)


def with_room(height: float, title: str, said: str = "") -> float:
    """Return the height of a whole chart whose marks take ``height`` pixels: the page counts title and axis in."""
    return height + 19.0 * len(folded(title)) + 16.0 * len(folded(said)) + 62.0


def length_axis(column: str, title: str, upper: float | None = None, **axis: Any) -> alt.X:  # noqa: ANN401
    """Return a horizontal axis of lengths, from zero, with whole ticks where few are needed."""
    scale = alt.Scale(domainMin=0) if upper is None else alt.Scale(domain=[0, upper])
    return alt.X(f"{column}:Q", title=title, scale=scale, axis=alt.Axis(tickCount=4, labelOverlap=True, **axis))


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeAxis:
    """A horizontal axis of days in UTC, so that no date slips by one."""

    title: str
    first: dt.date
    last: dt.date

    @classmethod
    def over(cls, days: pd.Series[Any], title: str) -> TimeAxis:
        """Return the axis that spans these days; an empty series gives the day 1970-01-01."""
        sound = days.dropna()
        ends = (sound.min(), sound.max()) if len(sound) else (pd.Timestamp(0), pd.Timestamp(0))
        return cls(title=title, first=ends[0].date(), last=ends[1].date())

    def x(self, column: str) -> alt.X:
        """Return the encoding of a column of days."""
        domain = [utc_ms(self.first), utc_ms(self.last)]
        return alt.X(
            f"{column}:T",
            title=self.title,
            scale=alt.Scale(type="utc", domain=domain, nice=False),
            axis=alt.Axis(tickCount=6, labelOverlap=True, grid=False),
        )

    def hot_months(self, palette: Palette) -> alt.Chart:
        """Shade June to September of every year on the axis."""
        spans = []
        for year in range(self.first.year, self.last.year + 1):
            start = max(dt.date(year, HOT_MONTHS[0], 1), self.first)
            end = min(dt.date(year, HOT_MONTHS[-1], 30), self.last)
            spans += [(start, end)] if start < end else []
        rows = {name: pd.to_datetime([s[i] for s in spans], utc=True) for i, name in enumerate(("from_day", "to_day"))}
        shade = alt.Chart(pd.DataFrame(rows)).mark_rect(color=palette.brick, opacity=0.08)
        return cast("alt.Chart", shade.encode(x=self.x("from_day"), x2="to_day:T"))


def utc_ms(day: dt.date) -> int:
    """Return a date as milliseconds since 1970, UTC."""
    return int(dt.datetime(day.year, day.month, day.day, tzinfo=dt.UTC).timestamp() * 1000)


def as_dots(table: pd.DataFrame, count: str) -> pd.DataFrame:
    """Repeat every row as often as it counts, numbered 1 .. n in the column ``nth``."""
    counts = table[count].round().astype(int).clip(lower=0)
    repeated = table.loc[table.index.repeat(counts)].copy()
    repeated["nth"] = repeated.groupby(level=0).cumcount() + 1
    return repeated.reset_index(drop=True)


def few(table: pd.DataFrame, count: str) -> bool:
    """Say whether every count is so small that dots are drawn instead of bars."""
    return bool(len(table)) and float(table[count].max()) < DOTS_BELOW


def tips(columns: Mapping[str, str]) -> list[alt.Tooltip]:
    """Return tooltips: column with its type -> what it is called."""
    return [alt.Tooltip(column, title=title) for column, title in columns.items()]
