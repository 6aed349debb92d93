"""How long parts last, drawn: the share still working by age beside its fitted law, and the age of the first tenth.

What happened is a solid step line with its band, the fitted law a dashed one beside it, and the parts watched at an age
stand under the axis: a curve over few parts says little. Small multiples share one scale.
"""

from __future__ import annotations

from collections.abc import Iterator

import altair as alt
import numpy as np
import pandas as pd

from fleet.present.chart_parts import Chart, checked, length_axis, rows_axis, tips, titled
from fleet.present.numbers import estimate, finite, with_interval
from fleet.present.theme import LIGHT, Palette

_SEEN, _LAW = "happened", "fitted law"
_BELOW = -0.13  # where the parts watched are written, in shares: under the line of none
_ABOVE = 1.12  # room for words over a curve that hasn't fallen yet
_NAMED_ABOVE, _NAMED_BELOW = 0.7, 0.85  # how far along the curve its lines are named
_WORDS_TAKE = 0.32  # a few words of a small picture's axis on a phone, as a share of it


def draw_life_curve(
    table: pd.DataFrame, title: str, *, upper: float | None = None, tenth: pd.Series | None = None,
    height: int = 340, palette: Palette = LIGHT,
) -> Chart:  # fmt: skip
    """Draw the share still working by age: what happened as a solid step line in its band, the fitted law dashed.

    Parameters
    ----------
    table : DataFrame
        Columns age, at_risk, survival, low, high, average; in order of age, one group.
    upper : float, optional
        End of the axis of ages, so that several charts share one scale.
    tenth : Series, optional
        Cells b10, b10_low and b10_high: the age at which a tenth have failed, drawn on the line of nine in ten.
    """
    bounds = ["low", "high", "average"]  # blank where all failed, or no law was fitted
    rows, left_out = checked(table, bounds, ["age", "at_risk", "survival"])
    rows[bounds] = rows[bounds].astype(float)
    end = upper or float(rows["age"].max() if len(rows) else 1.0)
    axes = _Axes(end)
    steps = alt.Chart(rows)
    band = steps.transform_filter("isValid(datum.low) && isValid(datum.high)").mark_area(
        interpolate="step-after", color=palette.steel, opacity=0.25
    )
    seen = steps.mark_line(interpolate="step-after", color=palette.steel, strokeWidth=2)
    law = steps.transform_filter("isValid(datum.average)").mark_line(
        color=palette.pine, strokeWidth=2.5, strokeDash=[7, 4]
    )
    told = tips(
        {"age:Q": "age, years", "survival:Q": "still working", "average:Q": "by the law", "at_risk:Q": "watched"}
    )
    layers = [
        band.encode(x=axes.x(), y=axes.y("low"), y2="high:Q"),
        law.encode(x=axes.x(), y=axes.y("average")),
        seen.encode(x=axes.x(), y=axes.y("survival"), tooltip=told),
        _watched(rows, axes, palette),
        *_names(rows, axes, palette),
        *(_tenth_marks(tenth, float(rows["age"].max()), axes, palette) if tenth is not None else ()),
    ]
    return titled(alt.layer(*layers), title, left_out=left_out, height=height, palette=palette)


def draw_life_spans(
    table: pd.DataFrame, label: str, title: str, *, upper: float, said: str = "", palette: Palette = LIGHT
) -> Chart:
    """Draw the age by which a tenth have failed with its interval, one row a label; bounds where there is no more.

    Parameters
    ----------
    table : DataFrame
        Columns ``label``, b10, b10_low, b10_high and weight (blank where no law was fitted). A row with b10_low alone
        is drawn as an arrow from there on; one without any number keeps its place and says so.
    upper : float
        End of the axis; what lies beyond is cut there.
    """
    rows, _ = checked(table, [label])
    for name in ("b10", "b10_low", "b10_high", "weight"):
        rows[name] = pd.to_numeric(table[name], errors="coerce").astype(float).to_numpy()
    known = rows["b10"].notna() & (rows["b10"] <= upper)
    law, bound = known & rows["weight"].notna(), ~known & rows["b10_low"].notna()
    y, unit = rows_axis(list(rows[label]), label), "years until a tenth have failed"
    told = tips({f"{label}:N": label, "b10:Q": "a tenth failed by", "b10_low:Q": "low", "b10_high:Q": "high"})

    def x(column: str) -> alt.X:
        return length_axis(column, unit, upper)

    def marks(chosen: pd.Series[bool], color: str, *, filled: bool) -> list[alt.Chart]:
        base = alt.Chart(rows[chosen].assign(b10_high=rows["b10_high"].fillna(upper).clip(upper=upper)))
        base = base.encode(y=y, tooltip=told)
        band = base.mark_bar(height=8, color=color, opacity=0.35).encode(x=x("b10_low"), x2="b10_high:Q")
        point = base.mark_point(size=80, filled=filled, color=color, opacity=1, strokeWidth=2).encode(x=x("b10"))
        return [band, point] if chosen.any() else []

    arrow = alt.Chart(rows[bound]).mark_point(shape="triangle-right", size=90, color=palette.ochre, filled=True)
    texts = rows.assign(at=_text_at(rows, known, upper), text=_span_texts(rows, known, bound))
    words = alt.Chart(texts).mark_text(align="left", dx=7, color=palette.quiet)
    layers = [
        *marks(law, palette.steel, filled=True),
        *marks(known & ~law, palette.ochre, filled=False),
        *([arrow.encode(y=y, x=x("b10_low"), tooltip=told)] if bound.any() else []),
        words.encode(y=y, x=x("at"), text="text:N"),
    ]
    return titled(alt.layer(*layers), title, said=said, palette=palette)


class _Axes:
    """The two axes every layer of a curve shares."""

    def __init__(self, end: float) -> None:
        self.end = end

    def x(self, column: str = "age") -> alt.X:
        return alt.X(
            f"{column}:Q",
            title="age of the part, years",
            scale=alt.Scale(domain=[0, self.end], nice=False),
            axis=alt.Axis(tickCount=5, labelOverlap=True, grid=False),
        )

    def y(self, column: str) -> alt.Y:
        faint = alt.Axis(
            values=[_BELOW, 0, 0.25, 0.5, 0.75, 1],
            labelExpr="datum.value < 0 ? 'watched' : format(datum.value, '.0%')",
            gridOpacity={"condition": {"test": "datum.value < 0", "value": 0}, "value": 1},
            labelPadding=16,
        )
        scale = alt.Scale(domain=[_BELOW - 0.05, _ABOVE], nice=False)
        return alt.Y(f"{column}:Q", title="share still working", scale=scale, axis=faint)


def _watched(rows: pd.DataFrame, axes: _Axes, palette: Palette) -> alt.Chart:
    """Write the parts at risk at a few ages of failure, under the line of none."""
    aims = np.linspace(0.0, axes.end, 5)
    ages = rows["age"].to_numpy()
    nearest = [int(np.abs(ages - aim).argmin()) for aim in aims] if len(rows) else []
    room, picked = axes.end / 7, list[int]()
    for place in dict.fromkeys(nearest):
        if not picked or ages[place] - ages[picked[-1]] >= room:
            picked.append(place)
    below = rows.iloc[picked].assign(below=_BELOW)
    text = alt.Chart(below).mark_text(color=palette.quiet, fontSize=12)
    written: alt.Chart = text.encode(x=axes.x(), y=axes.y("below"), text=alt.Text("at_risk:Q", format=",.0f"))
    return written


def _names(rows: pd.DataFrame, axes: _Axes, palette: Palette) -> Iterator[alt.Chart]:
    """Write what each line is beside it, one above the band and one below; a falling curve leaves room there."""
    if len(rows) < 2:
        return
    last = float(rows["age"].iloc[-1])
    place = _beside(rows, _NAMED_ABOVE * last)
    law_above = not place.get(_LAW, 1.0) < place[_SEEN]
    for share, above in ((_NAMED_ABOVE, True), (_NAMED_BELOW, False)):
        place = _beside(rows, share * last)
        word = _LAW if law_above == above else _SEEN
        if word in place:
            at = max(place.values()) if above else min(place.values())
            text = alt.Chart(pd.DataFrame({"age": [share * last], "at": [at], "word": [word]})).mark_text(
                dy=-9 if above else 12, align="left" if above else "right", color=palette.ink
            )
            yield text.encode(x=axes.x(), y=axes.y("at"), text="word:N")


def _beside(rows: pd.DataFrame, age: float) -> dict[str, float]:
    """Return what stands at an age: the steps, the ends of their band, and the law where one was fitted."""
    row = rows[rows["age"] <= age].iloc[-1]
    place = {_SEEN: row["survival"], "low": row["low"], "high": row["high"]}
    place[_LAW] = float(np.interp(age, rows["age"], rows["average"]))
    return {name: float(value) for name, value in place.items() if finite(value) is not None}


def _tenth_marks(row: pd.Series, last: float, axes: _Axes, palette: Palette) -> Iterator[alt.Chart]:
    """Mark the age of the first tenth with its interval on the line of nine in ten, where it lies on the picture."""
    low, middle, high = (finite(row[name]) for name in ("b10_low", "b10", "b10_high"))
    if low is None or middle is None or high is None or middle > last or high > axes.end:
        return
    said = f"a tenth by {estimate(middle)}"
    base = alt.Chart(pd.DataFrame({"age": [middle], "low": [low], "high": [high], "at": [0.9], "word": [said]}))
    yield base.mark_rule(color=palette.ink, strokeWidth=1.5).encode(x=axes.x("low"), x2="high:Q", y=axes.y("at"))
    yield base.mark_point(color=palette.ink, size=60, filled=True, opacity=1).encode(x=axes.x(), y=axes.y("at"))
    if middle + _WORDS_TAKE * axes.end <= _NAMED_ABOVE * last:
        text = base.mark_text(align="left", dx=4, dy=-11, color=palette.ink)
        yield text.encode(x=axes.x(), y=axes.y("at"), text="word:N")


def _text_at(rows: pd.DataFrame, known: pd.Series[bool], upper: float) -> pd.Series[float]:
    """Return where each row's number is written: past its interval, at its bound, or at the start."""
    past = rows["b10_high"].where(rows["b10_high"] <= upper, rows["b10"]).where(known, rows["b10_low"])
    return past.fillna(rows["b10_low"]).fillna(0.0)


def _span_texts(rows: pd.DataFrame, known: pd.Series[bool], bound: pd.Series[bool]) -> list[str]:
    said = []
    for (_, row), number, least in zip(rows.iterrows(), known, bound, strict=True):
        if number:
            said.append(with_interval(row["b10"], row["b10_low"], row["b10_high"]).split(" ")[0])
        elif least:
            said.append(f"{estimate(row['b10_low'])} or later: too few failures")
        else:
            said.append("not enough data")
    return said
