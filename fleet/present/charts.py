"""The pictures: pure functions from a table to a chart. Titles say the finding, axes carry units.

What happened is solid, what is expected is outlined, what is uncertain is a band; the same mark means the same thing on
every page. Every function checks its columns, takes at most 2,000 rows and says how many rows had no number.
"""

from __future__ import annotations

import altair as alt
import pandas as pd

from fleet.present.chart_parts import (
    HOT_SAID,
    ROWS,
    TALL_ROWS,
    Chart,
    TimeAxis,
    as_dots,
    checked,
    few,
    length_axis,
    rows_axis,
    tips,
    titled,
)
from fleet.present.theme import LIGHT, Palette

__all__ = [
    "draw_counts", "draw_deviations", "draw_events", "draw_expected", "draw_fan", "draw_intervals", "draw_months",
    "draw_observed_expected", "draw_planned", "draw_scatter",
]  # fmt: skip


def draw_fan(
    table: pd.DataFrame, label: str, title: str, *, unit: str = "pieces", upper: float | None = None,
    palette: Palette = LIGHT,
) -> Chart:  # fmt: skip
    """Draw forecasts as fans: a pale band of 90 %, a deeper one of 50 %, and the middle; one row a label.

    Parameters
    ----------
    table : DataFrame
        Columns ``label``, q05, q25, q50, q75, q95.
    upper : float, optional
        End of the axis, so that several charts share one scale.
    """
    rows, left_out = checked(table, [label], ["q05", "q25", "q50", "q75", "q95"])
    y = rows_axis(list(rows[label]), label)
    axis = f"{unit}; pale: 90 in 100 futures, deep: 50"
    said = {"q05:Q": "5 in 100 below", "q50:Q": "middle", "q95:Q": "5 in 100 above", f"{label}:N": label}
    base = alt.Chart(rows).encode(y=y, tooltip=tips(said))
    outer = base.mark_bar(height=16, color=palette.pine, opacity=0.30).encode(
        x=length_axis("q05", axis, upper), x2="q95:Q"
    )
    inner = base.mark_bar(height=16, color=palette.pine, opacity=0.65).encode(
        x=length_axis("q25", axis, upper), x2="q75:Q"
    )
    middle = base.mark_tick(height=20, thickness=2, color=palette.ink).encode(x=length_axis("q50", axis, upper))
    return titled(outer + inner + middle, title, left_out=left_out, palette=palette)


def draw_expected(
    table: pd.DataFrame, label: str, title: str, *, unit: str = "pieces", upper: float | None = None,
    palette: Palette = LIGHT,
) -> Chart:  # fmt: skip
    """Draw what is expected as outlined bars with their 90 % span, one row a label (buildings: in walking order).

    Parameters
    ----------
    table : DataFrame
        Columns ``label``, mean, q05, q95.
    """
    rows, left_out = checked(table, [label], ["mean", "q05", "q95"])
    axis = f"{unit} expected; line: 90 in 100 futures"
    said = {f"{label}:N": label, "mean:Q": "expected", "q05:Q": "5 in 100 below", "q95:Q": "5 in 100 above"}
    base = alt.Chart(rows).encode(y=rows_axis(list(rows[label]), label), tooltip=tips(said))
    bars = base.mark_bar(
        height=16, filled=True, color=palette.pine, fillOpacity=0.12, stroke=palette.pine, strokeWidth=2
    ).encode(x=length_axis("mean", axis, upper))
    spans = base.mark_rule(strokeWidth=1.5, color=palette.ink).encode(x=length_axis("q05", axis, upper), x2="q95:Q")
    names = base.mark_text(align="left", dx=5, color=palette.quiet).encode(
        x=length_axis("q95", axis, upper), text=alt.Text("mean:Q", format=".0f")
    )
    return titled(bars + spans + names, title, left_out=left_out, palette=palette)


def draw_counts(
    table: pd.DataFrame, label: str, count: str, title: str, *, unit: str, color: str = "steel",
    upper: float | None = None, palette: Palette = LIGHT,
) -> Chart:  # fmt: skip
    """Draw counts that happened as solid bars, or as dots one can count where none reaches five.

    Parameters
    ----------
    table : DataFrame
        Columns ``label`` and ``count``.
    color : str
        The mark's name in the palette: steel for what happened, brick for failures, ochre for attention.
    """
    rows, left_out = checked(table, [label], [count])
    y, shade = rows_axis(list(rows[label]), label), palette.marks()[color]
    if few(rows, count):
        dots = as_dots(rows, count)
        marks: alt.Chart | alt.LayerChart = (
            alt.Chart(dots)
            .mark_circle(size=90, color=shade, opacity=1)
            .encode(
                y=y, x=length_axis("nth", unit, max(upper or 0, 5.0), format="d"), tooltip=tips({f"{count}:Q": unit})
            )
        )
        blank = alt.Chart(rows).mark_point(opacity=0).encode(y=y)
        marks = blank + marks
    else:
        base = alt.Chart(rows).encode(y=y, x=length_axis(count, unit, upper), tooltip=tips({f"{count}:Q": unit}))
        number = base.mark_text(align="left", dx=5, color=palette.quiet).encode(
            text=alt.Text(f"{count}:Q", format=",.0f")
        )
        marks = base.mark_bar(height=16, color=shade) + number
    return titled(marks, title, left_out=left_out, palette=palette)


def draw_planned(
    table: pd.DataFrame, label: str, count: str, title: str, *, unit: str, upper: float | None = None,
    palette: Palette = LIGHT,
) -> Chart:  # fmt: skip
    """Draw planned or expected counts as outlined bars, one row a label; the number stands beside its bar.

    Parameters
    ----------
    table : DataFrame
        Columns ``label`` and ``count``.
    """
    rows, left_out = checked(table, [label], [count])
    base = alt.Chart(rows).encode(
        y=rows_axis(list(rows[label]), label), x=length_axis(count, unit, upper), tooltip=tips({f"{count}:Q": unit})
    )
    bars = base.mark_bar(height=16, color=palette.pine, fillOpacity=0.12, stroke=palette.pine, strokeWidth=2)
    number = base.mark_text(align="left", dx=5, color=palette.quiet).encode(text=alt.Text(f"{count}:Q", format=",.0f"))
    return titled(bars + number, title, left_out=left_out, palette=palette)


def draw_intervals(
    table: pd.DataFrame, label: str, title: str, *, unit: str, estimate: str = "rate", low: str = "low",
    high: str = "high", reference: float | None = None, from_zero: bool = True, upper: float | None = None,
    palette: Palette = LIGHT,
) -> Chart:  # fmt: skip
    """Draw estimates with their intervals, one row a label; a thin line marks the value they are compared with.

    Parameters
    ----------
    table : DataFrame
        Columns ``label``, ``estimate``, ``low`` and ``high``.
    reference : float, optional
        The value to compare with (the fleet's, or zero).
    from_zero : bool
        Whether the axis starts at zero; False where values below zero are meant.
    """
    rows, left_out = checked(table, [label], [estimate, low, high])
    said = {f"{label}:N": label, f"{estimate}:Q": "estimate", f"{low}:Q": "low", f"{high}:Q": "high"}
    base = alt.Chart(rows).encode(y=rows_axis(list(rows[label]), label), tooltip=tips(said))

    def axis(name: str) -> alt.X:
        return (
            length_axis(name, unit, upper)
            if from_zero
            else alt.X(f"{name}:Q", title=unit, scale=alt.Scale(zero=False), axis=alt.Axis(tickCount=5))
        )

    band = base.mark_bar(height=8, color=palette.steel, opacity=0.35).encode(x=axis(low), x2=f"{high}:Q")
    point = base.mark_circle(size=80, color=palette.steel, opacity=1).encode(x=axis(estimate))
    layers: alt.LayerChart = band + point
    if reference is not None:
        line = alt.Chart(pd.DataFrame({"reference": [reference]})).mark_rule(color=palette.ink, strokeDash=[2, 3])
        layers = layers + line.encode(x=axis("reference"))
    return titled(layers, title, left_out=left_out, palette=palette)


def draw_observed_expected(
    table: pd.DataFrame, label: str, title: str, *, unit: str, observed: str = "observed", expected: str = "expected",
    palette: Palette = LIGHT,
) -> Chart:  # fmt: skip
    """Draw what failed (solid) beside what was to be expected (outlined), one row a label."""
    rows, left_out = checked(table, [label], [observed, expected])
    said = {f"{label}:N": label, f"{observed}:Q": "failed", f"{expected}:Q": "expected"}
    base = alt.Chart(rows).encode(y=rows_axis(list(rows[label]), label), tooltip=tips(said))
    axis = f"{unit}; solid: failed, outlined: expected"
    line = base.mark_rule(color=palette.rule, strokeWidth=2).encode(x=length_axis(expected, axis), x2=f"{observed}:Q")
    plan = base.mark_point(size=110, filled=False, strokeWidth=2, color=palette.pine, opacity=1)
    seen = base.mark_circle(size=110, color=palette.brick, opacity=1)
    layers = line + plan.encode(x=length_axis(expected, axis)) + seen.encode(x=length_axis(observed, axis))
    height = TALL_ROWS if rows[label].astype(str).str.contains("\n").any() else ROWS
    return titled(layers, title, left_out=left_out, height=height, palette=palette)


def draw_months(
    table: pd.DataFrame, value: str, title: str, *, unit: str, upper: float | None = None, height: int = 210,
    color: str = "steel", palette: Palette = LIGHT,
) -> Chart:  # fmt: skip
    """Draw one value a month as solid bars with the hot months shaded; small multiples share ``upper``.

    Parameters
    ----------
    table : DataFrame
        Columns ``month`` (YYYY-MM) and ``value``, one row a month.
    """
    rows, left_out = checked(table, ["month"], [value])
    rows["from_day"] = pd.to_datetime(rows["month"] + "-01", utc=True)
    rows["to_day"] = rows["from_day"] + pd.Timedelta(days=26)
    axis = TimeAxis.over(pd.concat([rows["from_day"], rows["to_day"]]), "month of the report")
    scale = alt.Scale(domain=[0, upper]) if upper is not None else alt.Scale(domainMin=0)
    y = alt.Y(f"{value}:Q", title=unit, scale=scale, axis=alt.Axis(tickCount=4))
    bars = alt.Chart(rows).mark_bar(color=palette.marks()[color])
    bars = bars.encode(
        x=axis.x("from_day"),
        x2="to_day:T",
        y=y,
        y2=alt.Y2Datum(0),
        tooltip=tips({"month:N": "month", f"{value}:Q": unit}),
    )
    layers = alt.layer(axis.hot_months(palette), bars)
    return titled(layers, title, left_out=left_out, said=HOT_SAID, height=height, palette=palette)


def draw_events(table: pd.DataFrame, label: str, title: str, *, palette: Palette = LIGHT) -> Chart:
    """Draw every failure as one dot on its unit's line through time, the hot months shaded.

    Parameters
    ----------
    table : DataFrame
        Columns ``label``, day, component; one row a failure.
    """
    rows, left_out = checked(table, [label, "day", "component"])
    rows["day"] = pd.to_datetime(rows["day"], utc=True)
    order = list(dict.fromkeys(rows[label]))
    axis = TimeAxis.over(rows["day"], "day of the report")
    said = tips({f"{label}:N": "unit", "day:T": "day", "component:N": "what"})
    dots = alt.Chart(rows).mark_circle(size=80, color=palette.brick, opacity=0.8)
    dots = dots.encode(x=axis.x("day"), y=rows_axis(order, label), tooltip=said)
    layers = alt.layer(axis.hot_months(palette), dots)
    subtitle = f"One dot a failure. {HOT_SAID}"
    return titled(layers, title, left_out=left_out, said=subtitle, palette=palette)


def draw_scatter(
    table: pd.DataFrame, x: str, y: str, title: str, *, x_unit: str, y_unit: str, name: str, palette: Palette = LIGHT
) -> Chart:
    """Draw one solid dot a row: what one thing that happened did against another.

    Parameters
    ----------
    table : DataFrame
        Columns ``x``, ``y`` and ``name``, which is told on demand.
    """
    rows, left_out = checked(table, [name], [x, y])
    dots = alt.Chart(rows).mark_circle(size=60, color=palette.steel, opacity=0.75)
    dots = dots.encode(
        x=length_axis(x, x_unit),
        y=alt.Y(f"{y}:Q", title=y_unit, scale=alt.Scale(domainMin=0), axis=alt.Axis(tickCount=5)),
        tooltip=tips({f"{name}:N": name, f"{x}:Q": x_unit, f"{y}:Q": y_unit}),
    )
    return titled(dots, title, left_out=left_out, height=300, palette=palette)


def draw_deviations(readings: pd.DataFrame, title: str, *, height: int = 300, palette: Palette = LIGHT) -> Chart:
    """Draw one section's readings as percent off its rating over time, inside the band of its tolerance.

    Parameters
    ----------
    readings : DataFrame
        Columns day, off_pct, tolerance_pct, stage (found, left, new), one row a reading.
    """
    rows, left_out = checked(readings, ["day", "stage"], ["off_pct", "tolerance_pct"])
    rows["day"] = pd.to_datetime(rows["day"], utc=True)
    axis, unit = TimeAxis.over(rows["day"], "day of the reading"), "percent off the rating"
    band = pd.DataFrame({"low": -rows["tolerance_pct"].tail(1), "high": rows["tolerance_pct"].tail(1), "rating": 0.0})
    base = alt.Chart(band)
    shade = base.mark_rect(color=palette.pine, opacity=0.18).encode(y=alt.Y("low:Q", title=unit), y2="high:Q")
    zero = base.mark_rule(color=palette.quiet).encode(y=alt.Y("rating:Q", title=unit))
    shapes = alt.Scale(domain=["found", "left", "new"], range=["circle", "square", "triangle-up"])
    points = alt.Chart(rows).mark_point(size=80, filled=True, color=palette.steel, opacity=1)
    points = points.encode(
        x=axis.x("day"),
        y=alt.Y("off_pct:Q", title=unit, scale=alt.Scale(zero=True)),
        shape=alt.Shape("stage:N", scale=shapes, legend=None),
        tooltip=tips({"day:T": "day", "stage:N": "stage", "off_pct:Q": unit}),
    )
    layers = alt.layer(axis.hot_months(palette), shade, zero, points)
    said = f"Dots found, squares left, triangles new. Green: the tolerance. {HOT_SAID}"
    return titled(layers, title, left_out=left_out, said=said, height=height, palette=palette)
