"""Pictures of what comes back: funnels without a table of the best, buildings by month on one scale, runs as lines."""

import datetime as dt
import json

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fleet.answer import Answer, AnswerColumn
from fleet.errors import SchemaError
from fleet.present import coming_back_charts as charts
from fleet.present import coming_back_pictures as pictures
from fleet.present import people_pictures as people
from fleet.present import summaries
from fleet.present.places import Places
from fleet.present.theme import DARK

AS_OF = dt.date(2026, 3, 1)
WALK = pd.DataFrame(
    {
        "property": ["Oak", "Oak", "Elm"],
        "building": ["10", "2", "1"],
        "position": [1, 2, 3],
        "has_shelf": True,
        "units": 5,
    }
)
PLACES = Places(walk=WALK, tags=pd.DataFrame(), as_of=AS_OF, window=(dt.date(2020, 1, 1), AS_OF))


def answer(rows, name="x", **more):
    table = pd.DataFrame(rows)
    columns = tuple(AnswerColumn(name=str(column), kind="text", meaning="") for column in table.columns)
    return Answer(name=name, as_of=AS_OF, method="", n_used=1, table=table, columns=columns, **more)


def title_of(picture):
    return " ".join(picture.chart.to_dict()["title"]["text"]).replace("\N{NO-BREAK SPACE}", " ")


def drawn_rows(picture):
    """Return the largest table the picture draws from."""
    return max(picture.chart.to_dict()["datasets"].values(), key=lambda rows: (len(rows), len(rows[0])))


def callback(by, value, calls, share, **more):
    usual = {"usual_share": 0.1, "usual_low": 0.05, "usual_high": 0.15}
    return {
        "by": by,
        "value": value,
        "calls": calls,
        "share": share,
        "low": share - 0.05,
        "high": share + 0.1,
        **usual,
        **more,
    }


CALLS = answer(
    [
        callback("technician", "Ann", 10, 0.02),
        callback("technician", "Bo", 40, 0.2),
        callback("vendor", "Cold Firm", 9, 0.1, usual_share=np.nan, usual_low=np.nan, usual_high=np.nan),
    ]
)


def test_call_backs_stand_in_the_order_of_their_calls_never_of_their_share():
    assert list(summaries.callbacks_by(CALLS, "technician")["value"]) == ["Bo", "Ann"]
    (picture,) = pictures.callbacks_picture(CALLS, "technician")
    assert title_of(picture) == "Came back beyond chance, by technician, beside like work"
    rows = drawn_rows(picture)
    assert [row["name"] for row in rows] == ["Bo\n40 calls", "Ann\n10 calls"]
    assert rows[1]["low"] == pytest.approx(-3.0)
    assert rows[1]["usual_high"] == pytest.approx(15.0)


def test_who_has_nobody_to_compare_with_has_no_funnel():
    assert pictures.callbacks_picture(CALLS, "vendor") == []
    assert pictures.callbacks_picture(CALLS, "finding") == []


def run(number, tag, days, findings, cost=100.0):
    return [
        {"run": number, "equipment_id": tag, "first_on": dt.date(2024, 6, 1) + dt.timedelta(days=d), "days": d,
         "finding": finding, "calls": len(days), "run_cost": cost}
        for d, finding in zip(days, findings, strict=True)
    ]  # fmt: skip


RUNS = answer(
    [
        *run(1, "A", [0, 9, 30], ["run capacitor", "run capacitor", "compressor"], 812.4),
        *run(2, "B", [0, 4], ["no fault found", "wiring"], np.nan),
    ]
)


def test_runs_are_lines_with_a_mark_a_call_and_its_finding():
    (picture,) = pictures.runs_picture(RUNS)
    assert title_of(picture) == "The 2 longest runs of call-backs"
    rows = drawn_rows(picture)
    assert [row["said"] for row in rows[:3]] == ["run capacitor", "day 9: run capacitor", "day 30: compressor"]
    assert [row["name"] for row in rows][::3] == ["A, from June 1, 2024, $812", "B, from June 1, 2024"]
    assert [row["found"] for row in rows] == [True, True, True, False, True]
    # every word on a line of its own, below its run's line and above the next run's
    words = [row["word"] for row in rows]
    assert words == sorted(words, reverse=True)
    assert len(set(words)) == 5
    assert rows[2]["word"] > rows[3]["line"]


def test_only_the_longest_runs_are_drawn():
    many = answer([row for n in range(1, 10) for row in run(n, f"U{n}", [0, 5], ["wiring", "wiring"])])
    (picture,) = pictures.runs_picture(many)
    assert {row["run"] for row in drawn_rows(picture)} == set(range(1, pictures.RUNS_SHOWN + 1))
    none = answer([{"run": 1}])
    assert pictures.runs_picture(Answer(**{**_parts(none), "table": none.table.head(0)})) == []


def _parts(found):
    return {name: getattr(found, name) for name in ("name", "as_of", "method", "n_used", "table", "columns")}


def building_month(prop, building, month, observed, expected, p_value):
    return {
        "property": prop,
        "building": building,
        "month": month,
        "observed": observed,
        "expected": expected,
        "p_value": p_value,
    }


MONTHS = answer(
    [
        building_month("Oak", "2", "2024-07", 9, 2.1, 0.001),
        building_month("Oak", "10", "2024-07", 2, 2.0, 0.5),
        building_month("Oak", "2", "2025-07", 1, 2.0, 0.9),
        building_month("Elm", "1", "2024-07", 3, 2.5, 0.3),
    ]
)
HEAPS = answer(
    [
        {
            "property": "Oak",
            "building": "2",
            "from_date": dt.date(2024, 6, 26),
            "to_date": dt.date(2024, 7, 20),
            "alert": "yes",
        },
        {
            "property": "Oak",
            "building": "10",
            "from_date": dt.date(2024, 7, 1),
            "to_date": dt.date(2024, 7, 20),
            "alert": "no",
        },
    ]
)


def test_buildings_by_month_stand_in_walking_order_on_one_scale():
    oak, elm = pictures.months_pictures(MONTHS, HEAPS, PLACES)
    assert title_of(oak) == (
        "Oak: furthest above what was expected, building 2 in July 2024, 9 where about 2.1 was expected"
    )
    assert title_of(elm).startswith("Elm: furthest above what was expected, building 1")
    rows = drawn_rows(oak)
    assert list(dict.fromkeys(row["place"] for row in rows)) == ["building 10", "building 2"]
    by_place = {(row["place"], row["month"]): row for row in rows}
    tallest = by_place["building 2", "2024-07"]
    assert tallest["seen_top"] - tallest["floor"] == pytest.approx(0.9)
    assert tallest["usual_top"] - tallest["floor"] == pytest.approx(0.9 * 2.1 / 9)
    other = drawn_rows(elm)[0]
    assert other["seen_top"] - other["floor"] == pytest.approx(0.9 * 3 / 9)
    labels = next(layer for layer in oak.chart.to_dict()["layer"] if layer["mark"]["type"] == "bar")["encoding"]["y"]
    assert json.loads(labels["axis"]["labelExpr"].split("[round")[0]) == ["building 10", "building 2"]


def test_only_named_heaps_are_framed_and_only_in_the_year_shown():
    (oak, _) = pictures.months_pictures(MONTHS, HEAPS, PLACES, "2024")
    said = " ".join(oak.chart.to_dict()["title"]["subtitle"])
    assert "Framed: a heap chance doesn't explain." in said
    frames = [rows for rows in oak.chart.to_dict()["datasets"].values() if "top" in rows[0]]
    assert [[row["place"] for row in rows] for rows in frames] == [["building 2"]]
    (later,) = pictures.months_pictures(MONTHS, HEAPS, PLACES, "2025")
    assert "Framed" not in " ".join(later.chart.to_dict()["title"]["subtitle"])


def test_the_years_to_choose_from_begin_with_all_of_them():
    assert pictures.month_years(MONTHS) == ("all years", "2025", "2024")


def test_lots_are_intervals_with_exact_limits_likeliest_first():
    lots = answer([
        {"part_no": "RC", "lot": "1", "fitted": 9, "failed": 2, "expected": 1.5, "p_value": 0.4},
        {"part_no": "RC", "lot": "2", "fitted": 20, "failed": 9, "expected": 1.5, "p_value": 0.001},
        {"part_no": "RC", "lot": "3", "fitted": 12, "failed": 0, "expected": 0.1, "p_value": np.nan},
        {"part_no": "RC", "lot": "4", "fitted": 1, "failed": 1, "expected": 0.01, "p_value": 0.01},
    ])  # fmt: skip
    (picture,) = pictures.lots_picture(lots)
    assert title_of(picture) == "Furthest from chance: RC lot 2"
    rows = drawn_rows(picture)
    # a lot of fewer than five parts isn't judged
    assert [row["name"] for row in rows] == ["RC lot 2", "RC lot 1"]
    # Garwood (1936): chi-square limits of a Poisson count
    assert rows[0]["low"] == pytest.approx(stats.chi2.ppf(0.05, 18) / 2)
    assert rows[0]["high"] == pytest.approx(stats.chi2.ppf(0.95, 20) / 2)


def test_the_likeliest_heap_is_named_first():
    heap = {"property": "Oak", "building": "2", "component": "wiring", "from_date": dt.date(2024, 6, 3)}
    (picture,) = pictures.clusters_picture(answer([{**heap, "observed": 4, "expected": 0.5, "p_value": 0.2}]))
    assert title_of(picture) == "Likeliest heap: Oak 2, wiring, 2024-06"
    assert drawn_rows(picture)[0]["name"] == "Oak 2\nwiring, 2024-06"


def test_new_parts_are_compared_by_part_number_most_tests_first():
    tested = answer(
        [
            {"by": "all", "part_no": "", "tested": 30, "share": 0.1, "low": 0.02, "high": 0.2},
            {"by": "part_no", "part_no": "RC-1", "tested": 4, "share": 0.25, "low": 0.01, "high": 0.75},
            {"by": "part_no", "part_no": "RC-2", "tested": 26, "share": 0.08, "low": 0.01, "high": 0.2},
        ],
        settings={"limit_share": 0.05},
    )
    (picture,) = pictures.new_parts_picture(tested)
    assert [row["name"] for row in drawn_rows(picture)] == ["RC-2, 26 tests", "RC-1, 4 tests"]
    assert {"reference": 5.0} in [row for rows in picture.chart.to_dict()["datasets"].values() for row in rows]
    assert pictures.new_parts_picture(answer([{"by": "all", "share": np.nan}])) == []


def test_priority_homes_are_drawn_alone_where_some_are_marked():
    rows = [
        {"equipment_id": "A", "priority_home": "no", "hours": 900.0},
        {"equipment_id": "B", "priority_home": "yes", "hours": 40.2},
        {"equipment_id": "C", "priority_home": "yes", "hours": 95.0},
    ]
    (picture,) = people.homes_picture(answer(rows))
    assert title_of(picture) == "Priority homes: longest at C, about 95 hours"
    assert [row["equipment_id"] for row in drawn_rows(picture)] == ["C", "B"]
    (picture,) = people.homes_picture(answer([row | {"priority_home": "no"} for row in rows]))
    assert title_of(picture).startswith("Homes: longest at A")


def test_waits_and_parts_waited_for_are_drawn_with_their_calls():
    wait = {"property": "", "homes": "priority", "calls": 79, "median_hours": 4.1, "low": 3.5, "high": 9.3}
    (picture,) = people.waits_picture(answer([wait, wait | {"homes": "all", "median_hours": np.nan}]))
    assert [row["name"] for row in drawn_rows(picture)] == ["priority homes, 79 calls"]
    parts = [{"component": "", "hours": 90.0}, {"component": "compressor", "hours": 60.0}]
    (picture,) = people.part_waits_picture(answer(parts))
    assert title_of(picture) == "Most hours waiting for a part: compressor"
    assert people.part_waits_picture(answer(parts[:1])) == []


def test_refrigerant_is_drawn_where_some_was_added():
    unit = {"equipment_id": "A", "top_ups": 3, "oz_per_year": 12.0, "low": 4.0, "high": 30.0}
    (picture,) = people.refrigerant_picture(answer([unit, unit | {"equipment_id": "B", "top_ups": 0}]))
    assert [row["name"] for row in drawn_rows(picture)] == ["A, 3 top-ups"]
    gas = {"refrigerant": "R-410A", "mean_lb": 46.0, "q05": 27.0, "q95": 68.0, "additions": 142}
    (picture,) = people.order_picture(answer([gas, gas | {"refrigerant": "not recorded", "additions": 0}]))
    assert title_of(picture) == "Next 12 months: about 50, 30 to 70 pounds of R-410A"
    assert people.order_picture(answer([gas | {"mean_lb": np.nan}])) == []


DRAWN = {
    "funnel": lambda **more: charts.draw_funnel(
        CALLS.table.assign(name=["a", "b", "c"]).head(2), "name", "By technician", unit="percent of calls", **more
    ),
    "limits": lambda **more: charts.draw_limits(
        pd.DataFrame({"name": ["a"], "failed": [9], "low": [4.7], "high": [15.7], "expected": [1.5]}),
        "name", "Lot a", unit="parts", observed="failed", **more,
    ),
    "months": lambda **more: charts.draw_building_months(
        MONTHS.table.assign(place="b"), HEAPS.table.assign(place="b"), "By month", upper=9.0, **more
    ),
    "runs": lambda **more: charts.draw_runs(RUNS.table.assign(name="a", nth=[1, 2, 3, 1, 2]), "Two runs", **more),
}  # fmt: skip
AXES = {
    "funnel": "percent of calls", "limits": "parts; solid: failed, outlined: expected", "months": "month of the report",
    "runs": "days since the first call",
}  # fmt: skip


@pytest.mark.parametrize("name", DRAWN)
def test_a_chart_is_valid_draws_only_what_it_has_and_names_its_unit(name):
    plain = DRAWN[name]().to_dict()
    assert json.loads(json.dumps(plain)) == plain
    titles, drawn = set(), 0
    for layer in plain["layer"]:
        for part in layer.get("layer", [layer]):
            rows = plain["datasets"][(part.get("data") or layer.get("data") or plain["data"])["name"]]
            for channel, one in part.get("encoding", {}).items():
                titles |= {one.get("title")} if isinstance(one, dict) and channel in "xy" else set()
                fields = [each["field"] for each in (one if isinstance(one, list) else [one]) if "field" in each]
                assert set(fields) <= set(rows[0]), (name, fields)
                drawn += len(fields)
    assert drawn > 8
    assert AXES[name] in titles
    assert DARK.ink in json.dumps(DRAWN[name](palette=DARK).to_dict())


def test_a_chart_says_which_column_it_misses():
    with pytest.raises(SchemaError, match="the chart needs the columns"):
        charts.draw_runs(RUNS.table.drop(columns="finding"), "Runs")
