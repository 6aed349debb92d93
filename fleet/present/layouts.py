"""Which columns of an answer does a narrow table show, in what order and form, and which go first when space is short?

An estimate and its bounds take one column here ("0.46 (0.41 to 0.51)"); CSV and JSON keep every column apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fleet.answer import Answer, AnswerColumn
from fleet.present.coming_back_layouts import COMING_BACK
from fleet.present.people_layouts import PEOPLE
from fleet.present.reading_order import ReadingOrder, reading_order
from fleet.present.shown import PROPERTY as _PROPERTY
from fleet.present.shown import Shown
from fleet.present.shown import interval as _interval
from fleet.present.shown import one as _one
from fleet.present.shown import ratio as _ratio
from fleet.present.shown import shares as _shares
from fleet.present.shown import text as _text

__all__ = ["FOOTNOTED", "LAYOUTS", "SECOND", "ReadingOrder", "Shown", "headings", "layouts_of", "reading_order"]

FOOTNOTED = ("note", "notes")
"""Columns whose sentences stand under the table, numbered."""


_PLACE = (_PROPERTY, _text("building", 1, "bldg", total="all"))

LAYOUTS: Mapping[str, tuple[Shown, ...]] = MappingProxyType(
    {
        **COMING_BACK,
        **PEOPLE,
        "rates": (
            _PROPERTY,
            _text("component", 1, total="all"),
            _one("count", "failures", 2),
            _one("number", "unit_years", 4, "unit-years"),
            _interval("rate a unit-year", ("rate", "low", "high"), 1),
            _interval("leaning on the others", ("shrunk_rate", "shrunk_low", "shrunk_high"), 5),
        ),
        "rates, ratios": (
            _PROPERTY,
            _text("component", 1, total="all"),
            _ratio("ratio", ("ratio", "ratio_low", "ratio_high"), 2),
            _one("estimate", "smallest_ratio_seen", 2, "would show from"),
            _ratio("adjusted ratio", ("adjusted_ratio", "adjusted_low", "adjusted_high"), 2),
            _one("share", "p_high", 5, "over 1.5 times the mean"),
            _one("yesno", "alert", 1),
        ),
        "recurrence": (
            _PROPERTY,
            _text("component", 2, total="all"),
            _one("count", "segment", 5),
            _one("date", "day", 1),
            _one("number", "years", 2, "years"),
            _one("count", "units", 3, "units watched"),
            _one("count", "failures", 4, "failures since the row before"),
            _interval("failures a unit has had", ("mean_failures", "low", "high"), 1),
        ),
        "trends": (
            _PROPERTY,
            _text("component", 1, total="all"),
            _one("count", "failures", 2),
            _interval("times as often each year", ("yearly_factor", "low", "high"), 1),
            _interval("shape by age", ("age_shape", "age_shape_low", "age_shape_high"), 3),
            _text("verdict", 1),
            _one("chance", "p_value", 4, "p"),
            _one("estimate", "laplace_z", 6, "Laplace's z"),
            _one("count", "units", 7, "places"),
            _one("number", "unit_years", 8, "unit-years"),
        ),
        "causes": (
            _text("property", 8),
            _text("equipment_id", 1, "unit"),
            _text("hint", 1, "what may be behind it"),
            _text("look_at", 1, "what to look at"),
            _one("date", "last_on", 3, "last on"),
            _one("count", "events", 4),
            _one("estimate", "usual_events", 4, "usual"),
            _one("chance", "chance", 5, "chance"),
            _one("date", "first_on", 6, "first on"),
            _text("cautions", 7),
        ),
        "unit visits": (
            _PROPERTY,
            _text("equipment_id", 1, "unit"),
            _one("date", "day", 1),
            _text("call_type", 1, "call"),
            _text("finding", 1, "found"),
            _text("done", 1),
            _text("outcome", 3),
            _text("who", 4),
            _text("notes", 2),
        ),
        "unit readings": (
            _PROPERTY,
            _text("equipment_id", 1, "unit"),
            _one("date", "day", 1),
            _text("section", 1),
            _text("stage", 1),
            _one("number", "value_uf", 1, "µF"),
            _one("number", "rated_uf", 2, "rated µF"),
            _one("pct", "off_pct", 1, "off, %"),
            _text("sense", 5),
            _text("advice", 1),
            _text("reason", 2),
        ),
        "life": (
            _PROPERTY,
            _text("component", 1),
            _text("ending", 7),
            _one("count", "failures", 2),
            _interval("a tenth failed by, years", ("b10", "b10_low", "b10_high"), 1),
            _interval("half failed by, years", ("median", "median_low", "median_high"), 1),
            _text("model", 2, "law"),
            _one("share", "weight", 6),
            _interval("shape", ("shape", "shape_low", "shape_high"), 5),
            _one("number", "curve_age", 4, "curve to, years"),
            _shares("still working then", ("curve_survival", "curve_low", "curve_high"), 4),
            _one("share", "fitted_survival", 4, "by the law"),
            _one("count", "curve_at_risk", 6, "watched then"),
            _one("count", "weak", 6),
            _one("count", "spells", 7, "lives"),
            _one("number", "part_years", 6, "part-years"),
            _interval("scale, years", ("scale", "scale_low", "scale_high"), 8),
        ),
        "life curve": (
            _PROPERTY,
            _text("component", 2),
            _one("number", "age", 1, "age, years"),
            _one("count", "at_risk", 1, "watched"),
            _one("count", "failures", 3, "failed then"),
            _shares("still working", ("survival", "low", "high"), 1),
            _one("share", "average", 2, "by the laws"),
            _one("share", "weibull", 4, "by Weibull"),
        ),
        "life ends": (
            _PROPERTY,
            _text("component", 2),
            _one("number", "age", 1, "by, years"),
            _text("cause", 1),
            _one("share", "share", 1, "share ended by it"),
            _one("share", "sd", 2, "standard error"),
            _one("count", "lives", 3, "lives, any age"),
        ),
        "life comparison": (
            _PROPERTY,
            _text("component", 1),
            _one("count", "failures", 2),
            _text("against", 4, "against"),
            _interval("times as long", ("ratio", "ratio_low", "ratio_high"), 1),
            _one("chance", "p_value", 3, "p"),
            _one("yesno", "differs", 1),
        ),
        "drift": (
            _text("property", 6),
            _text("building", 4, "bldg"),
            _text("equipment_id", 1, "unit"),
            _text("section", 1),
            _one("number", "rated_uf", 5, "rated µF"),
            _interval("off rating, %", ("pct", "low", "high"), 1),
            _one("pct", "slope_pct_per_year", 3, "% a year"),
            _one("date", "leaves_tolerance", 2, "leaves tolerance"),
            _one("date", "leaves_tolerance_low", 7, "at the earliest"),
            _one("date", "leaves_tolerance_high", 8, "at the latest"),
            _text("advice", 1),
        ),
        "meters": (
            _PROPERTY,
            _text("meter", 1),
            _one("count", "readings", 2),
            _interval("reads off by, %", ("bias_pct", "low", "high"), 1),
        ),
        "units": (
            _text("property", 6),
            _text("building", 3, "bldg"),
            _text("equipment_id", 1, "unit"),
            _one("count", "calls", 2),
            _one("estimate", "past_rate", 1, "calls a year so far"),
            Shown(
                header="calls in the next 12 months",
                columns=("expected_calls", "low", "high"),
                style="expected",
                rank=1,
            ),
            _one("share", "p_bad", 1, "chance it is bad"),
            _interval("calls a year saved if mended", ("avoided_calls", "avoided_low", "avoided_high"), 2),
            _one("estimate", "usual_calls", 5, "usual calls"),
            _one("number", "unit_years", 6, "unit-years"),
            _one("date", "last_call", 7, "last call"),
        ),
        "demand": (
            *_PLACE,
            _text("part_no", 1, "part", total="all"),
            _text("component", 2),
            _text("why", 1, total="all"),
            _one("estimate", "mean", 1, "mean"),
            _one("estimate", "q05", 3, "q05"),
            _one("estimate", "q50", 6, "q50"),
            _one("estimate", "q95", 3, "q95"),
        ),
        "stock": (
            _PROPERTY,
            _text("location", 1, "shelf"),
            _text("part_no", 1, "part"),
            _text("component", 6),
            _one("count", "on_hand", 4, "on hand"),
            _one("count", "on_order", 7, "on order"),
            _one("count", "target", 3),
            _one("count", "to_order", 1, "order"),
            _one("money", "unit_cost", 6, "each, $"),
            _one("money", "cost", 1, "cost, $"),
            _one("share", "p_short", 3, "runs short"),
            _one("date", "order_by", 1, "order by"),
            _text("why", 5),
        ),
        "seasons": (
            _PROPERTY,
            _text("month", 1),
            _one("count", "calls", 1),
            _interval("calls a unit-year", ("rate", "low", "high"), 2),
            _one("number", "degree_days", 2, "°F degree days"),
            _shares("after hours", ("night_share", "night_low", "night_high"), 3),
            _one("estimate", "hours_without_cooling", 2, "hours without cooling"),
            _one("estimate", "hours_without_cooling_p90", 6, "nine in ten below"),
            _one("count", "calls_priority", 5, "priority calls"),
            _one("estimate", "hours_priority", 5, "hours, priority"),
            _one("estimate", "unit_years", 7, "unit-years"),
            _one("count", "timed_calls", 8, "timed calls"),
        ),
        "costs": (
            _PROPERTY,
            _text("month", 1, total="all"),
            _text("building", 2, "bldg", total="all"),
            _text("cause", 1, total="all"),
            _one("money", "labor", 4, "labor, $"),
            _one("money", "parts", 4, "parts, $"),
            _one("money", "refrigerant", 5, "refrigerant, $"),
            _one("money", "other", 6, "other, $"),
            _one("money", "credit", 6, "credit, $"),
            _one("money", "total", 1, "total, $"),
            _one("money", "after_hours", 3, "after hours, $"),
            _one("money", "estimated", 7, "estimated, $"),
        ),
    }
)
"""Layouts by answer name; an answer without one shows its columns as documented."""

SECOND: Mapping[str, str] = MappingProxyType({"rates": "rates, ratios"})
"""Answers that, once grouped, are written as two tables of the same rows, and the second one's layout."""

_ALONE = {"interval": "number", "ratio": "number", "expected": "estimate", "shares": "share"}
"""How a single column is written of those that a text table joins into one."""

_BY_KIND = {"text": "text", "count": "count", "number": "number", "money": "money", "date": "date", "yesno": "yesno"}


def layouts_of(answer: Answer) -> list[tuple[Shown, ...]]:
    """Return an answer's columns as a text table shows them; two tables for a grouped answer of `SECOND`.

    Columns of the layout the table doesn't have are passed over; grouping columns come first, further ones last,
    with the highest rank (they give way first).
    """
    present = set(answer.table.columns)
    groups = list(answer.settings.get("by") or ())
    names = [answer.name, *([SECOND[answer.name]] if groups and answer.name in SECOND else [])]
    layouts = [[shown for shown in LAYOUTS.get(name, ()) if set(shown.columns) <= present] for name in names]
    # without groups there is nothing to compare: those columns are blank all the way down
    alone = LAYOUTS.get(SECOND.get(answer.name, ""), ()) if not groups else ()
    taken = {name for layout in (*layouts, alone) for shown in layout for name in shown.columns}
    further = [c for c in answer.columns if c.name not in taken and c.name not in FOOTNOTED]
    first = [_plain(column, rank=1) for column in further if column.name in groups]
    last = [_plain(column, rank=9) for column in further if column.name not in groups]
    laid = [(*first, *layout) for layout in layouts]
    return [*laid[:-1], (*laid[-1], *last)]


def headings(answer: Answer) -> dict[str, tuple[str, str]]:
    """Return how each single column of an answer is headed and written where its layout says so: (heading, style)."""
    found: dict[str, tuple[str, str]] = {}
    for shown in (*LAYOUTS.get(answer.name, ()), *LAYOUTS.get(SECOND.get(answer.name, ""), ())):
        style = _ALONE.get(shown.style, shown.style)
        bounds = zip(shown.columns[1:], ("low", "high"), strict=False)
        found |= {shown.columns[0]: (shown.header, style), **{name: (said, style) for name, said in bounds}}
    return found


def _plain(column: AnswerColumn, *, rank: int) -> Shown:
    unit = f", {column.unit}" if column.unit else ""
    header = column.name.replace("_", " ") + unit
    return Shown(header=header, columns=(column.name,), style=_BY_KIND.get(column.kind, "text"), rank=rank)
