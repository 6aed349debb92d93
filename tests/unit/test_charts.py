"""Every chart is valid, draws only fields it has, names its axes with units, and refuses what it can't show."""

import json

import altair as alt
import numpy as np
import pandas as pd
import pytest

from fleet.errors import SchemaError
from fleet.present import charts
from fleet.present.chart_parts import MAX_ROWS, TimeAxis, as_dots, checked, few, folded
from fleet.present.theme import DARK, LIGHT

FAN = pd.DataFrame({"place": ["1", "3"], "q05": [1, 2], "q25": [2, 4], "q50": [3, 6], "q75": [4, 8], "q95": [6, 12]})
EXPECTED = pd.DataFrame({"place": ["1", "3"], "mean": [3.2, 6.1], "q05": [1, 2], "q95": [6, 12]})
COUNTS = pd.DataFrame({"place": ["1", "3"], "sections": [7, 0]})
FEW = pd.DataFrame({"place": ["1", "3"], "sections": [3, 0]})
RATES = pd.DataFrame({"place": ["1", "3"], "rate": [0.5, 0.6], "low": [0.4, 0.5], "high": [0.7, 0.8]})
LOTS = pd.DataFrame({"name": ["a", "b"], "observed": [9, 2], "expected": [1.5, 2.2]})
MONTHS = pd.DataFrame({"month": ["2025-05", "2025-06", "2025-07"], "labor": [10.0, 250.5, 320.0]})
EVENTS = pd.DataFrame(
    {
        "equipment_id": ["B", "A"],
        "day": pd.to_datetime(["2024-05-01", "2025-08-30"]),
        "component": ["wiring", "contactor"],
    }
)
READINGS = pd.DataFrame(
    {
        "day": pd.to_datetime(["2024-03-01", "2025-03-01"]), "stage": ["found", "new"], "off_pct": [-4.2, 1.0],
        "tolerance_pct": [6.0, 6.0],
    }
)  # fmt: skip
HEAT = pd.DataFrame({"month": ["2025-05", "2025-07"], "degree_days": [120.0, 680.0], "rate": [0.4, 1.6]})

DRAWN = {
    "fan": lambda table=FAN, **more: charts.draw_fan(table, "place", "Most in 3", **more),
    "expected": lambda table=EXPECTED, **more: charts.draw_expected(table, "place", "Most in 3", **more),
    "counts": lambda table=COUNTS, **more: charts.draw_counts(
        table, "place", "sections", "7 to change", unit="sections", **more
    ),
    "dots": lambda table=FEW, **more: charts.draw_counts(
        table, "place", "sections", "3 to change", unit="sections", **more
    ),
    "planned": lambda table=COUNTS, **more: charts.draw_planned(
        table, "place", "sections", "7 ahead", unit="sections", **more
    ),
    "intervals": lambda table=RATES, **more: charts.draw_intervals(
        table, "place", "Most in 3", unit="failures per unit-year", reference=0.55, **more
    ),
    "observed": lambda table=LOTS, **more: charts.draw_observed_expected(table, "name", "Lot a", unit="parts", **more),
    "months": lambda table=MONTHS, **more: charts.draw_months(table, "labor", "$581", unit="dollars a month", **more),
    "events": lambda table=EVENTS, **more: charts.draw_events(table, "equipment_id", "2 failures", **more),
    "deviations": lambda table=READINGS, **more: charts.draw_deviations(table, "Two readings", **more),
    "scatter": lambda table=HEAT, **more: charts.draw_scatter(
        table,
        "degree_days",
        "rate",
        "Hotter, more",
        x_unit="degree days, °F",
        y_unit="calls per unit-year",
        name="month",
        **more,
    ),
}
UNITS = {
    "fan": "pieces; pale: 90 in 100 futures, deep: 50", "expected": "pieces expected; line: 90 in 100 futures",
    "counts": "sections", "dots": "sections", "planned": "sections", "intervals": "failures per unit-year",
    "observed": "parts; solid: failed, outlined: expected", "months": "dollars a month", "events": "day of the report",
    "deviations": "percent off the rating", "scatter": "calls per unit-year",
}  # fmt: skip
EVERY = pytest.mark.parametrize("name", DRAWN)


def encodings(plain):
    """Give every encoding of a chart with the fields of the data it draws from."""
    shared = {name: rows for name, rows in plain["datasets"].items()}
    for layer in plain.get("layer", [plain]):
        source = layer.get("data", plain.get("data"))
        rows = shared[source["name"]]
        yield layer.get("encoding", {}), set(rows[0]) if rows else None


@EVERY
def test_a_chart_is_valid_and_every_field_it_draws_exists(name):
    plain = DRAWN[name]().to_dict()
    assert json.loads(json.dumps(plain)) == plain
    drawn = 0
    for encoding, fields in encodings(plain):
        for channel in encoding.values():
            for one in channel if isinstance(channel, list) else [channel]:
                if "field" in one and fields is not None:
                    assert one["field"] in fields, (name, one)
                    drawn += 1
    assert drawn >= 3


@EVERY
def test_a_chart_names_its_finding_and_its_unit(name):
    plain = DRAWN[name]().to_dict()
    assert plain["title"]["text"]
    titles = {
        one.get("title") for encoding, _ in encodings(plain) for axis in ("x", "y") for one in [encoding.get(axis, {})]
    }
    assert UNITS[name] in titles


@EVERY
def test_a_chart_takes_the_dark_palette(name):
    plain = DRAWN[name](palette=DARK).to_dict()
    assert plain["config"]["title"]["color"] == DARK.ink
    assert LIGHT.ink not in json.dumps(plain)


@EVERY
def test_a_chart_is_as_wide_as_its_page(name):
    assert DRAWN[name]().to_dict()["width"] == "container"


@EVERY
def test_a_missing_column_is_refused_by_name(name):
    table = DRAWN[name].__defaults__[0]
    gone = table.columns[-1]
    with pytest.raises(SchemaError, match=f"needs the columns .*{gone}"):
        DRAWN[name](table.drop(columns=gone))


@EVERY
def test_too_many_rows_are_refused(name):
    table = DRAWN[name].__defaults__[0]
    many = pd.concat([table] * (MAX_ROWS // len(table) + 1), ignore_index=True)
    with pytest.raises(SchemaError, match=f"{len(many)} rows are more than a chart can show"):
        DRAWN[name](many)


def test_rows_without_a_number_are_left_out_and_counted():
    rows, left_out = checked(pd.DataFrame({"a": ["x", "y", "z"], "n": [1.0, np.nan, np.inf]}), ["a"], ["n"])
    assert list(rows["a"]) == ["x"]
    assert left_out == 2
    table = RATES.assign(high=[0.7, np.inf])
    assert DRAWN["intervals"](table).to_dict()["title"]["subtitle"] == ["1 row without a number left out"]


def test_checking_leaves_the_table_as_it_was():
    table = pd.DataFrame({"a": ["x"], "n": ["3"]})
    rows, _ = checked(table, ["a"], ["n"])
    rows["n"] = 9
    assert list(table["n"]) == ["3"]


def test_counts_below_five_are_dots_and_larger_ones_bars():
    assert few(FEW, "sections")
    assert not few(COUNTS, "sections")
    marks = [layer["mark"]["type"] for layer in DRAWN["dots"]().to_dict()["layer"]]
    assert "circle" in marks
    assert "bar" not in marks
    assert "bar" in [layer["mark"]["type"] for layer in DRAWN["counts"]().to_dict()["layer"]]


def test_a_row_of_zero_dots_keeps_its_place():
    plain = DRAWN["dots"]().to_dict()
    assert plain["layer"][0]["encoding"]["y"]["sort"] == ["1", "3"]
    blank = plain["datasets"][plain["layer"][0]["data"]["name"]]
    assert [row["place"] for row in blank] == ["1", "3"]


def test_dots_are_numbered():
    assert as_dots(FEW, "sections")["nth"].tolist() == [1, 2, 3]


@pytest.mark.parametrize("name", ["fan", "expected", "counts", "planned", "intervals", "observed"])
def test_labels_keep_the_order_given(name):
    plain = DRAWN[name]().to_dict()
    sorts = [encoding["y"]["sort"] for encoding, _ in encodings(plain) if "sort" in encoding.get("y", {})]
    assert sorts
    assert all(order == list(DRAWN[name].__defaults__[0].iloc[:, 0]) for order in sorts)


def test_what_is_planned_is_outlined_and_what_happened_solid():
    plan = DRAWN["planned"]().to_dict()["layer"][0]["mark"]
    done = DRAWN["counts"]().to_dict()["layer"][0]["mark"]
    assert (plan["stroke"], plan["fillOpacity"]) == (LIGHT.pine, 0.12)
    assert "stroke" not in done
    assert done["color"] == LIGHT.steel


def test_small_multiples_share_a_scale():
    for name in ("fan", "expected", "counts", "planned", "intervals"):
        encoding = next(e for e, _ in encodings(DRAWN[name](upper=40.0).to_dict()) if "scale" in e.get("x", {}))
        assert encoding["x"]["scale"]["domain"] == [0, 40.0], name
    assert DRAWN["months"](upper=900.0).to_dict()["layer"][1]["encoding"]["y"]["scale"]["domain"] == [0, 900.0]


def test_lengths_are_compared_from_zero():
    assert DRAWN["expected"]().to_dict()["layer"][0]["encoding"]["x"]["scale"]["domainMin"] == 0


def test_days_stay_the_days_they_are():
    # an axis in local time would show a day early or late west or east of Greenwich (altair #2540)
    plain = DRAWN["events"]().to_dict()
    dots = plain["layer"][1]
    assert dots["encoding"]["x"]["scale"]["type"] == "utc"
    days = [row["day"] for row in plain["datasets"][dots["data"]["name"]]]
    assert [day[:10] for day in days] == ["2024-05-01", "2025-08-30"]
    assert all(day.endswith(("Z", "+00:00")) for day in days)


def test_the_hot_months_are_shaded_and_cut_at_the_axis():
    axis = TimeAxis.over(pd.Series(pd.to_datetime(["2024-07-15", "2025-06-20"])), "day")
    shaded = axis.hot_months(LIGHT).to_dict()
    spans = next(iter(shaded["datasets"].values()))
    assert [(s["from_day"][:10], s["to_day"][:10]) for s in spans] == [
        ("2024-07-15", "2024-09-30"),
        ("2025-06-01", "2025-06-20"),
    ]


def test_an_empty_table_still_makes_a_chart():
    for name in ("fan", "counts", "events", "months", "deviations"):
        assert DRAWN[name](DRAWN[name].__defaults__[0].head(0)).to_dict()["title"]["text"]


def test_titles_are_folded_for_a_phone():
    lines = folded("Most often in building 6 of the property with the long name: about 0.55, 0.50 to 0.61")
    assert max(map(len, lines)) <= 40
    assert " ".join(lines).startswith("Most often in building 6")
    assert folded("") == []
    assert folded("Of the causes named, compressor has takes: 19 %")[-1].endswith("19\N{NO-BREAK SPACE}%")


def test_no_chart_has_two_vertical_axes_or_a_pie():
    for draw in DRAWN.values():
        plain = draw().to_dict()
        assert plain.get("resolve", {}).get("scale", {}).get("y") != "independent"
        assert "arc" not in json.dumps(plain)
    assert isinstance(DRAWN["fan"](), alt.LayerChart)
