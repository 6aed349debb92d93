"""Lives drawn: steps of what happened in their band, the law beside them, parts watched below; one scale for all."""

import json
import math

import numpy as np
import pandas as pd
import pytest
from small_logs import histories_of
from test_charts import encodings
from test_life_words import CAP, fleet_log, life, row, unfitted
from test_present_pictures import PLACES, title_of

from fleet.analysis.life import estimate_life
from fleet.analysis.life_curve import split_life_ends, trace_life_curve
from fleet.errors import SchemaError
from fleet.present.life_charts import draw_life_curve, draw_life_spans
from fleet.present.life_pictures import (
    CURVES_A_ROW,
    MOST_CURVES,
    MOST_SPANS,
    curves_shown,
    ends_picture,
    ends_shown,
    life_curve_pictures,
    life_spans_pictures,
)
from fleet.present.theme import DARK, LIGHT

CURVE = pd.DataFrame(
    {
        "age": [0.0, 0.8, 1.9, 2.6, 3.4, 4.0], "at_risk": [120, 110, 80, 55, 30, 12],
        "survival": [1.0, 0.97, 0.9, 0.82, 0.7, 0.7], "low": [1.0, 0.94, 0.84, 0.73, 0.58, 0.58],
        "high": [1.0, 0.99, 0.94, 0.88, 0.79, 0.79], "average": [1.0, 0.98, 0.91, 0.84, 0.75, 0.68],
    }
)  # fmt: skip
TENTH = pd.Series({"b10": 1.9, "b10_low": 1.5, "b10_high": 2.3})
SPANS = pd.DataFrame(
    {
        "name": ["K4", "M3", "N5", "T9"], "b10": [1.3, 2.4, np.nan, np.nan], "b10_low": [1.0, 0.7, 1.29, np.nan],
        "b10_high": [1.7, 9.0, np.nan, np.nan], "weight": [1.0, np.nan, np.nan, np.nan],
    }
)  # fmt: skip


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    histories = histories_of(tmp_path_factory.mktemp("charts"), **fleet_log(120, fails="2016-09-01"))
    yield histories
    histories.close()


@pytest.fixture(scope="module")
def by_family(fleet):
    return estimate_life(fleet, component=CAP, by=["model_family"]), trace_life_curve(fleet, CAP, by=["model_family"])


def layers(chart):
    """Give every layer of a chart: its mark, its encoding and the rows it draws from."""
    plain = chart.to_dict()
    for layer in plain["layer"]:
        rows = plain["datasets"][layer.get("data", plain.get("data"))["name"]]
        yield layer["mark"], layer["encoding"], rows


def words(chart):
    """Give the words written on a chart and where: word -> (age, height)."""
    found = {}
    for mark, encoding, rows in layers(chart):
        if mark["type"] == "text" and encoding["text"].get("field") == "word":
            x, y = encoding["x"]["field"], encoding["y"]["field"]
            found |= {one["word"]: (one[x], one[y]) for one in rows}
    return found


@pytest.mark.parametrize(
    "chart", [draw_life_curve(CURVE, "48 %", tenth=TENTH), draw_life_spans(SPANS, "name", "K4", upper=5.0)]
)
def test_a_chart_is_valid_and_draws_only_fields_it_has(chart):
    plain = chart.to_dict()
    assert json.loads(json.dumps(plain)) == plain
    assert plain["width"] == "container"
    for encoding, fields in encodings(plain):
        for one in encoding.values():
            for channel in one if isinstance(one, list) else [one]:
                assert "field" not in channel or channel["field"] in fields


def test_what_happened_is_solid_the_law_dashed_and_the_doubt_a_band():
    marks = [mark for mark, _, _ in layers(draw_life_curve(CURVE, "t"))]
    band, law, seen = marks[:3]
    assert (band["type"], band["interpolate"], band["color"]) == ("area", "step-after", LIGHT.steel)
    assert band["opacity"] < 0.5
    assert (law["type"], law["color"]) == ("line", LIGHT.pine)
    assert law["strokeDash"]
    assert (seen["type"], seen["interpolate"], seen["color"]) == ("line", "step-after", LIGHT.steel)
    assert "strokeDash" not in seen


def test_axes_carry_units_and_start_at_zero():
    _, encoding, _ = next(layers(draw_life_curve(CURVE, "t", upper=6.0)))
    assert encoding["x"]["title"] == "age of the part, years"
    assert encoding["x"]["scale"]["domain"] == [0, 6.0]
    assert encoding["y"]["title"] == "share still working"
    assert encoding["y"]["scale"]["domain"][0] < 0 < 1 < encoding["y"]["scale"]["domain"][1]
    assert [value for value in encoding["y"]["axis"]["values"] if value >= 0] == [0, 0.25, 0.5, 0.75, 1]


def test_the_parts_watched_stand_under_the_line_of_none_at_ages_they_were_counted():
    risk = next(
        rows
        for mark, encoding, rows in layers(draw_life_curve(CURVE, "t"))
        if encoding.get("text", {}).get("field") == "at_risk"
    )
    counted = dict(zip(CURVE["age"], CURVE["at_risk"], strict=True))
    assert len(risk) >= 3
    assert all(counted[one["age"]] == one["at_risk"] and one["below"] < 0 for one in risk)
    assert (risk[0]["at_risk"], risk[-1]["at_risk"]) == (120, 12)
    ages = [one["age"] for one in risk]
    assert min(np.diff(ages)) >= 4.0 / 7  # so far apart that the numbers don't run into each other


def test_both_lines_are_named_beside_them():
    named = words(draw_life_curve(CURVE, "t"))
    age, height = named["happened"]
    assert height >= CURVE.loc[CURVE["age"] <= age, "high"].iloc[-1]
    age, height = named["fitted law"]
    assert height <= np.interp(age, CURVE["age"], CURVE["average"])
    # the law above what happened: the other way round
    above = words(draw_life_curve(CURVE.assign(average=CURVE["survival"] ** 0.5), "t"))
    assert above["happened"][1] < above["fitted law"][1]


def test_without_a_law_only_what_happened_is_named():
    named = words(draw_life_curve(CURVE.assign(average=np.nan), "t"))
    assert list(named) == ["happened"]


def test_the_tenth_is_marked_where_it_lies_on_the_picture():
    marked = words(draw_life_curve(CURVE.assign(age=2 * CURVE["age"]), "t", tenth=TENTH))
    assert marked["a tenth by 1.9"] == (1.9, 0.9)
    beyond = TENTH.replace({2.3: 9.9})
    assert not any(mark["type"] == "rule" for mark, _, _ in layers(draw_life_curve(CURVE, "t", tenth=beyond)))


def test_rows_all_of_which_failed_have_no_band_and_stay():
    last = {"age": 4.5, "at_risk": 10, "survival": 0.0, "low": np.nan, "high": np.nan, "average": 0.6}
    chart = draw_life_curve(pd.concat([CURVE, pd.DataFrame([last])], ignore_index=True), "t")
    _, _, rows = next(layers(chart))
    assert len(rows) == len(CURVE) + 1
    assert rows[-1]["low"] is None
    assert "subtitle" not in chart.to_dict()["title"]


def test_a_missing_column_is_refused_by_name():
    with pytest.raises(SchemaError, match=r"needs the columns .*at_risk"):
        draw_life_curve(CURVE.drop(columns="at_risk"), "t")
    with pytest.raises(SchemaError, match=r"needs the columns .*name"):
        draw_life_spans(SPANS.drop(columns="name"), "name", "t", upper=5.0)


def test_both_charts_take_the_dark_palette():
    for chart in (
        draw_life_curve(CURVE, "t", tenth=TENTH, palette=DARK),
        draw_life_spans(SPANS, "name", "t", upper=5.0, palette=DARK),
    ):
        said = json.dumps(chart.to_dict())
        assert DARK.steel in said
        assert LIGHT.steel not in said
        assert LIGHT.ink not in said


def test_spans_tell_a_law_from_assumed_wear_and_from_a_bare_bound():
    drawn = list(layers(draw_life_spans(SPANS, "name", "t", upper=5.0)))
    points = {rows[0]["name"]: mark for mark, _, rows in drawn if mark["type"] == "point"}
    assert (points["K4"]["filled"], points["K4"]["color"]) == (True, LIGHT.steel)
    assert (points["M3"]["filled"], points["M3"]["color"]) == (False, LIGHT.ochre)
    assert points["N5"]["shape"] == "triangle-right"
    texts = {one["name"]: (one["text"], one["at"]) for one in drawn[-1][2]}
    assert texts["K4"] == ("1.3", 1.7)
    assert texts["M3"] == ("2", 2.4)  # its interval leaves the picture
    assert texts["N5"] == ("1.3 or later: too few failures", 1.29)
    assert texts["T9"] == ("not enough data", 0.0)


def test_spans_of_fitted_groups_alone_draw_no_empty_layer():
    marks = [
        (mark["type"], len(rows)) for mark, _, rows in layers(draw_life_spans(SPANS.head(1), "name", "t", upper=5))
    ]
    assert marks == [("bar", 1), ("point", 1), ("text", 1)]


def test_a_picture_of_one_component_is_its_curve_to_the_last_age_that_can_be_read(fleet):
    answer, curve = estimate_life(fleet, component=CAP), trace_life_curve(fleet, CAP)
    ((picture,),) = life_curve_pictures(answer, curve)
    average = answer.table.iloc[0]
    _, _, rows = next(layers(picture.chart))
    assert rows[-1]["age"] == average["curve_age"]
    assert rows[-1]["survival"] == average["curve_survival"]
    assert rows[-1]["at_risk"] == average["curve_at_risk"]
    assert rows[-1]["average"] == average["fitted_survival"]
    assert rows[0]["age"] == 0.0
    assert title_of(picture).startswith(f"Run capacitors: {100 * average['curve_survival']:.0f} % still work after")
    assert f"the fitted law says {100 * average['fitted_survival']:.0f} %" in title_of(picture)
    assert picture.said.endswith("parts watched at the start.")
    assert "in its band of 90 %; dashed is the fitted law" in curves_shown(answer, curve)


def test_small_multiples_share_one_scale(by_family):
    answer, curve = by_family
    pictures = [one for line in life_curve_pictures(answer, curve) for one in line]
    assert [title_of(one)[:2] for one in pictures] == ["A:", "B:"]
    ends = {encoding["x"]["scale"]["domain"][1] for one in pictures for _, encoding, _ in layers(one.chart)}
    assert ends == {answer.table["curve_age"].max()}


def test_at_most_so_many_curves_are_drawn_those_with_most_failures():
    names = [f"F{nth:02d}" for nth in range(12)]
    curve_cells = {"curve_age": 4.0, "curve_at_risk": 12, "curve_survival": 0.7, "curve_low": 0.6, "curve_high": 0.8}
    rows = [
        row(model_family=name, failures=nth, fitted_survival=0.68, **curve_cells) for nth, name in enumerate(names, 10)
    ]
    rows.append(unfitted(model_family="few", **curve_cells))
    answer = life(rows, ("model_family",))
    curve = life(rows, ("model_family",))
    steps = pd.concat([CURVE.assign(model_family=name) for name in [*names, "few"]], ignore_index=True)
    object.__setattr__(curve, "table", steps)
    lines = life_curve_pictures(answer, curve)
    assert [len(line) for line in lines] == [CURVES_A_ROW] * (MOST_CURVES // CURVES_A_ROW)
    assert title_of(lines[0][0]).startswith("F11: 70 %")
    said = curves_shown(answer, curve)
    assert f"The {MOST_CURVES} groups with most failures are drawn" in said
    assert "1 group has too few failures, or too few parts of known age, for a curve." in said


def test_a_curve_of_very_many_steps_is_thinned_and_keeps_its_ends():
    ages = np.linspace(0, 5, 5001)
    steps = pd.DataFrame(
        {"age": ages, "at_risk": 9000, "survival": np.exp(-ages / 9), "low": 0.4, "high": 0.9, "average": 0.5}
    )
    one = row(
        curve_age=5.0, curve_at_risk=9000, curve_survival=0.57, curve_low=0.5, curve_high=0.6, fitted_survival=0.5
    )
    answer, curve = life([one]), life([one])
    object.__setattr__(curve, "table", steps)
    ((picture,),) = life_curve_pictures(answer, curve)
    _, _, rows = next(layers(picture.chart))
    assert 100 < len(rows) <= 501
    assert (rows[0]["age"], rows[-1]["age"]) == (0.0, 5.0)


def test_a_part_without_a_curve_says_so(fleet):
    answer = life([unfitted(component="wiring")])
    curve = life([unfitted(component="wiring")])
    object.__setattr__(curve, "table", CURVE)
    assert life_curve_pictures(answer, curve) == []
    assert curves_shown(answer, curve) == "There is no curve: never ten parts of known age were watched together."


def test_components_are_drawn_soonest_first_and_bounds_last():
    rows = [
        row(component="fan motor", b10=6.1, b10_low=4.9, b10_high=7.2), row(), unfitted(component="wiring"),
        row(component="thermostat", weight=np.nan, b10=1.0, b10_low=0.5, b10_high=3.0),
    ]  # fmt: skip
    (picture,) = life_spans_pictures(life(rows, component=None), PLACES)
    assert title_of(picture) == "First: run capacitor, a tenth by about 1.9 years, 1.6 to 2.1"
    order = next(encoding["y"]["sort"] for _, encoding, _ in layers(picture.chart))
    assert order == ["run capacitor", "fan motor", "thermostat", "wiring"]
    assert " ".join(picture.chart.to_dict()["title"]["subtitle"]) == "Hollow: too few failures, the usual wear assumed."
    assert life_spans_pictures(life([row()]), PLACES) == []


def test_buildings_are_drawn_in_walking_order_one_picture_a_property():
    places = [("Oak", "2", 1.0), ("Oak", "10", 3.0), ("Elm", "1", 2.0)]
    rows = [row(property=prop, building=name, b10=b10, b10_low=b10 / 2, b10_high=2 * b10) for prop, name, b10 in places]
    pictures = life_spans_pictures(life(rows, ("property", "building")), PLACES)
    orders = [next(encoding["y"]["sort"] for _, encoding, _ in layers(one.chart)) for one in pictures]
    assert orders == [["building 10", "building 2"], ["building 1"]]
    assert title_of(pictures[0]).startswith("First: Oak, building 2, a tenth by about 1.0 years")
    edges = {encoding["x"]["scale"]["domain"][1] for one in pictures for _, encoding, _ in layers(one.chart)}
    assert len(edges) == 1


def test_of_many_groups_those_with_most_failures_are_drawn():
    rows = [row(lot=f"L{nth:02d}", part_no="P1", failures=nth) for nth in range(MOST_SPANS + 6)]
    (picture,) = life_spans_pictures(life(rows, ("part_no", "lot")), PLACES)
    order = next(encoding["y"]["sort"] for _, encoding, _ in layers(picture.chart))
    assert len(order) == MOST_SPANS
    assert "P1 L05" not in order
    assert "P1 L06" in order
    subtitle = " ".join(picture.chart.to_dict()["title"]["subtitle"])
    assert subtitle == f"The {MOST_SPANS} of {MOST_SPANS + 6} with most failures."


def test_groups_without_any_number_still_make_a_picture():
    rows = [unfitted(model_family=name, b10_low=np.nan, median_low=np.nan) for name in "AB"]
    (picture,) = life_spans_pictures(life(rows, ("model_family",)), PLACES)
    assert title_of(picture) == "Too few failures for more than bounds"
    *_, (_, _, texts) = layers(picture.chart)
    assert {one["text"] for one in texts} == {"not enough data"}


def test_what_ends_lives_is_counted_of_a_hundred(fleet):
    ends = split_life_ends(fleet, CAP)
    (picture,) = ends_picture(ends)
    assert title_of(picture) == "What has ended run capacitors by 5 years"
    drawn = next(rows for _, _, rows in layers(picture.chart))
    share = ends.table.set_index(["age", "cause"])["share"][5.0, "failed"]
    assert drawn[0]["cause"] == "failed"
    assert drawn[0]["of_hundred"] == round(100 * share)
    shown = ends_shown(ends)
    assert list(shown.columns)[:3] == ["by, years", "failed, of 100", "weak, of 100"]
    assert shown["by, years"].tolist() == [1.0, 2.0, 3.0, 5.0]
    assert shown["failed, of 100"].iloc[-1] == pytest.approx(100 * share, abs=0.05)
    assert not math.isnan(shown.to_numpy().sum())
