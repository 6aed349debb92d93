"""Which kinds of unit fail more? The words and the picture of rates by compressor type or model family."""

from __future__ import annotations

from types import MappingProxyType

import pandas as pd

from fleet.answer import Answer
from fleet.present.charts import draw_intervals
from fleet.present.numbers import about, estimate, finite, listed
from fleet.present.pictures import Picture
from fleet.present.summaries import head_by
from fleet.present.theme import LIGHT, Palette

KINDS = MappingProxyType({"compressor_type": "compressor type", "model_family": "model family"})
"""What units may be grouped by, and how a choice calls it."""

RUNNING = MappingProxyType({"calendar": "a year in service", "heat": "a year's heat"})
"""The clocks, and how a choice calls what a rate is per."""

MOST_NAMED = 3


def alerts_sentence(rates: Answer) -> str:
    """Say which kinds fail more often in which component, after false-discovery control, with ratio and interval."""
    kind = _kind(rates)
    rows = rates.table[(rates.table["alert"] == "yes") & (rates.table["component"] != "")]
    if rows.empty:
        return f"No {KINDS[kind]} fails more often in any component than chance allows."
    worst = rows.sort_values("ratio_low", ascending=False, kind="stable")
    said = [_one(row, kind) for _, row in worst.head(MOST_NAMED).iterrows()]
    more = len(worst) - len(said)
    return f"More often than the others: {listed(said, limit=MOST_NAMED)}{f'; and {more} more below' if more else ''}."


def _one(row: pd.Series, kind: str) -> str:
    crude = about(row["ratio"], row["ratio_low"], row["ratio_high"], unit="times the others")
    adjusted = finite(row.get("adjusted_ratio"))
    alike = "" if adjusted is None else f", {estimate(adjusted)} at like age, season and place"
    return f"{row[kind]} in {row['component']} ({crude}{alike})"


def kind_rows(rates: Answer, component: str) -> pd.DataFrame:
    """Return one component's rows (blank: all together) of named kinds, the largest rate first."""
    kind = _kind(rates)
    rows = rates.table[(rates.table["component"] == component) & (rates.table[kind] != "unknown")]
    return head_by(rows[rows["shrunk_rate"].notna()].assign(kind=rows[kind]), "shrunk_rate", n=20)


def kinds_picture(rates: Answer, component: str, palette: Palette = LIGHT) -> list[Picture]:
    """Draw each kind's rate with its interval, drawn toward the others as far as its record is thin."""
    rows = kind_rows(rates, component)
    if rows.empty:
        return []
    top = rows.iloc[0]
    what = component or "all components"
    title = f"Most often in {top['kind']}, {what}: {about(top['shrunk_rate'], top['shrunk_low'], top['shrunk_high'])}"
    unit = "failures per unit-year" if rates.settings.get("clock") != "heat" else "failures per year's heat"
    chart = draw_intervals(
        rows, "kind", title, unit=unit, estimate="shrunk_rate", low="shrunk_low", high="shrunk_high", palette=palette
    )
    return [Picture(chart, title)]


def _kind(rates: Answer) -> str:
    return str((rates.settings.get("by") or ["model_family"])[0])
