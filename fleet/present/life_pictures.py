"""Which pictures show how long parts last? From the answers life, life curve and life ends to titled charts."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fleet.answer import Answer
from fleet.present.chart_parts import MAX_ROWS
from fleet.present.charts import draw_counts
from fleet.present.life_charts import draw_life_curve, draw_life_spans
from fleet.present.life_groups import averaged, fitted, group_name, grouping, last_ends, plural, years
from fleet.present.life_words import ends_sentence
from fleet.present.numbers import about, counted, estimate, finite, percent
from fleet.present.pictures import Picture
from fleet.present.places import Places, in_walking_order
from fleet.present.summaries import top_edge
from fleet.present.theme import LIGHT, Palette

MOST_CURVES, CURVES_A_ROW = 8, 2
"""So many small multiples are drawn at most, those with most failures; and so many beside one another."""

MOST_SPANS = 24
"""So many groups are drawn as spans at most."""

_STEPS_DRAWN = MAX_ROWS // 4


def life_curve_pictures(life: Answer, curve: Answer, palette: Palette = LIGHT) -> list[list[Picture]]:
    """Draw the curves of one component, a group each, on one scale; rows of pictures, most failures first.

    Parameters
    ----------
    life, curve : Answer
        `estimate_life` and `trace_life_curve` of the same component, grouping and settings.
    """
    by = grouping(life)
    drawn = _curves(life, curve)[:MOST_CURVES]
    edge = max((float(rows["age"].max()) for _, rows in drawn), default=1.0)
    height = 340 if len(drawn) == 1 else 300
    pictures = []
    for row, rows in drawn:
        title = _curve_title(row, rows, group_name(row, by))
        # shares of a curve that begins later aren't those of all parts, so their tenth isn't either
        tenth = row if rows["age"].iloc[0] == 0 and finite(row["weight"]) is not None else None
        chart = draw_life_curve(rows, title, upper=edge, tenth=tenth, height=height, palette=palette)
        pictures.append(Picture(chart, f"{title} {counted(rows['at_risk'].iloc[0], 'part')} watched at the start."))
    return [pictures[i : i + CURVES_A_ROW] for i in range(0, len(pictures), CURVES_A_ROW)]


def curves_shown(life: Answer, curve: Answer) -> str:
    """Say how the curves are to be read, and which groups have none and why."""
    curves, n = _curves(life, curve), len(averaged(life))
    said = []
    if curves:
        law = "; dashed is the fitted law" if any(finite(row["weight"]) is not None for row, _ in curves) else ""
        band = f"Solid is what happened, in its band of {percent(life.settings['level'])}"
        said.append(f"{band}{law}; the numbers under a curve are the parts watched at that age.")
    if len(curves) > MOST_CURVES:
        said.append(f"The {MOST_CURVES} groups with most failures are drawn; the download has all.")
    if n == 1 and not curves:
        said.append("There is no curve: never ten parts of known age were watched together.")
    elif n > len(curves):
        have = "group has" if n - len(curves) == 1 else "groups have"
        said.append(f"{n - len(curves)} {have} too few failures, or too few parts of known age, for a curve.")
    return " ".join(said)


def life_spans_pictures(life: Answer, places: Places, palette: Palette = LIGHT) -> list[Picture]:
    """Draw the age of the first tenth of each component or group: buildings in walking order, others soonest first."""
    by = grouping(life)
    every = averaged(life)
    several = len(set(every["component"])) > 1
    names = [_span_name(row, by, several=several) for _, row in every.iterrows()]
    rows = every.assign(name=names).sort_values("failures", ascending=False, kind="stable").head(MOST_SPANS)
    if len(rows) < 2:
        return []
    cut = "" if len(rows) == len(every) else f"The {len(rows)} of {len(every)} with most failures. "
    hollow = rows["weight"].isna() & rows["b10"].notna()
    said = cut + ("Hollow: too few failures, the usual wear assumed." if hollow.any() else "")
    edge = _edge(rows)
    if {"property", "building"} <= set(by) and not several:
        walked = in_walking_order(rows, places)
        parts = [part for _, part in walked.groupby("property", sort=False)]
    else:
        # those with a law first, then those with an assumed one, then bare bounds
        fewest = rows["weight"].isna().astype(int) + rows["b10"].isna()
        parts = [rows.assign(fewest=fewest).sort_values(["fewest", "b10", "b10_low"], kind="stable")]
    pictures = []
    for part in parts:
        title = _spans_title(part)
        chart = draw_life_spans(part, "name", title, upper=edge, said=said, palette=palette)
        pictures.append(Picture(chart, title))
    return pictures


def ends_picture(ends: Answer, palette: Palette = LIGHT) -> list[Picture]:
    """Draw how many of a hundred parts each cause ends by the oldest age watched enough."""
    rows = last_ends(ends)
    if rows.empty:
        return []
    shown = rows.assign(of_hundred=(100 * rows["share"]).round()).sort_values("share", ascending=False, kind="stable")
    what = plural(str(ends.settings["component"]))
    title = f"What has ended {what} by {years(rows['age'].iloc[0])}"
    unit, edge = f"of a hundred {what}", top_edge(shown, "of_hundred")
    chart = draw_counts(shown, "cause", "of_hundred", title, unit=unit, upper=edge, palette=palette)
    return [Picture(chart, ends_sentence(ends))]


def ends_shown(ends: Answer) -> pd.DataFrame:
    """Return one row an age: how many of a hundred parts each cause has ended by it, where enough were watched."""
    by = [name for name in grouping(ends) if len(set(ends.table[name])) > 1]
    known = ends.table[ends.table["share"].notna()]
    wide = known.assign(of_hundred=(100 * known["share"]).round(1)).set_index([*by, "age", "cause"])["of_hundred"]
    shown = wide.unstack("cause", sort=False).reset_index()  # noqa: PD010 (one row a key, nothing to sum)
    named = {cause: f"{cause}, of 100" for cause in wide.index.unique("cause")}
    return shown.rename_axis(columns=None).rename(columns={"age": "by, years", **named})


def _curves(life: Answer, curve: Answer) -> list[tuple[pd.Series, pd.DataFrame]]:
    """Return each group's row of the answer and its curve, most failures first.

    A curve ends at the last age with enough at risk. Of several groups those without a law have none: they would only
    be lines of a few parts.
    """
    by = list(grouping(life))
    rows = averaged(life).sort_values("failures", ascending=False, kind="stable")
    found = []
    for _, row in rows.iterrows():
        own = curve.table[(curve.table[by] == row[by]).all(axis=1)] if by else curve.table
        steps = _to_the_end(own, row)
        if len(steps) > 1 and (len(rows) == 1 or finite(row["weight"]) is not None):
            found.append((row, steps))
    return found


def _to_the_end(own: pd.DataFrame, row: pd.Series) -> pd.DataFrame:
    """Return a curve up to the last age with enough at risk, that age added; thinned where it has very many steps."""
    columns = ["age", "at_risk", "survival", "low", "high", "average"]
    last = finite(row["curve_age"])
    if last is None:
        return own[columns].head(0)
    steps = own.loc[own["age"] <= last, columns]
    if len(steps) > _STEPS_DRAWN:
        steps = steps.iloc[np.unique(np.linspace(0, len(steps) - 1, _STEPS_DRAWN).round().astype(int))]
    end = [last, *(row[f"curve_{name}"] for name in ("at_risk", "survival", "low", "high")), row["fitted_survival"]]
    ended = pd.DataFrame([end], columns=columns)
    joined = pd.concat([steps[steps["age"] < last].astype(float), ended.astype(float)], ignore_index=True)
    return joined


def _curve_title(row: pd.Series, rows: pd.DataFrame, name: str) -> str:
    end, start = rows.iloc[-1], rows.iloc[0]
    who = name or plural(row["component"])
    age = about(end["age"]).removeprefix("about ")
    share = "all" if end["survival"] == 1 else percent(end["survival"])
    since = "" if start["age"] == 0 else f" of those at {estimate(start['age'])}"
    law = finite(end["average"])
    said = f"{who[:1].upper()}{who[1:]}: {share}{since} still work after {age} years"
    return f"{said}." if law is None or name else f"{said}; the fitted law says {percent(law)}."


def _span_name(row: pd.Series, by: tuple[str, ...], *, several: bool) -> str:
    if {"property", "building"} <= set(by) and not several:
        return f"building {row['building']}" if str(row["building"])[:1].isdigit() else str(row["building"])
    if tuple(by) == ("part_no", "lot") and not several:
        return f"{row['part_no']} {row['lot']}"
    name = group_name(row, by)
    return ", ".join(said for said in (row["component"] if several else "", name) if said)


def _spans_title(rows: pd.DataFrame) -> str:
    known = fitted(rows).sort_values("b10", kind="stable")
    if known.empty:
        return "Too few failures for more than bounds"
    first = known.iloc[0]
    where = f"{first['property']}, " if first.get("property") and "building" in rows.columns else ""
    tenth = about(first["b10"], first["b10_low"], first["b10_high"], unit="years")
    return f"First: {where}{first['name']}, a tenth by {tenth}"


def _edge(rows: pd.DataFrame) -> float:
    """Return where the common axis ends: past every estimate and most of their intervals, not past one wild bound."""
    largest = max((value for value in (*fitted(rows)["b10"], *rows["b10_low"]) if not np.isnan(value)), default=0.8)
    highs = [high for high in rows["b10_high"] if high <= 2 * largest]
    return 1.25 * float(max([largest, *highs]))
