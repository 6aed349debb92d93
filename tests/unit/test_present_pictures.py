"""From answers to pictures: sums that reconcile, walking order, one scale, titles that say the finding."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from fleet.answer import Answer, AnswerColumn
from fleet.ingest.report import LoadReport
from fleet.present import pictures, summaries
from fleet.present.fans import fan_table
from fleet.present.places import Places

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
TAGS = pd.DataFrame(
    {"equipment_id": ["A", "B"], "property": "Oak", "building": ["10", "2"], "apartment": "", "in_service": True}
)
PLACES = Places(walk=WALK, tags=TAGS, as_of=AS_OF, window=(dt.date(2020, 1, 1), AS_OF))


def answer(rows, name="x", **more):
    table = pd.DataFrame(rows)
    columns = tuple(AnswerColumn(name=str(column), kind="text", meaning="") for column in table.columns)
    return Answer(name=name, as_of=AS_OF, method="", n_used=1, table=table, columns=columns, **more)


def cost(month, building, cause, **kinds):
    money = {"labor": 0.0, "parts": 0.0, "refrigerant": 0.0, "other": 0.0, "credit": 0.0, **kinds}
    total = money["labor"] + money["parts"] + money["refrigerant"] + money["other"] - money["credit"]
    return {
        "month": month, "property": "Oak", "building": building, "cause": cause, **money, "total": total,
        "after_hours": 0.0, "estimated": np.nan,
    }  # fmt: skip


COSTS = answer(
    [
        cost("2025-05", "2", "wiring", labor=100.0),
        cost("2025-08", "10", "compressor", labor=50.0, parts=400.0, credit=30.0),
        cost("2025-08", "2", "not recorded", other=700.0),
    ],
    "costs",
)


def title_of(picture):
    return " ".join(picture.chart.to_dict()["title"]["text"]).replace("\N{NO-BREAK SPACE}", " ")


def labels_of(picture):
    plain = picture.chart.to_dict()
    layer = next(layer for layer in plain.get("layer", [plain]) if "sort" in layer["encoding"].get("y", {}))
    return layer["encoding"]["y"]["sort"]


def test_months_without_money_are_there_as_zeros_and_sums_reconcile():
    months = summaries.costs_by_month(COSTS)
    assert list(months["month"]) == ["2025-05", "2025-06", "2025-07", "2025-08"]
    assert list(months["labor"]) == [100.0, 0.0, 0.0, 50.0]
    assert months["total"].sum() == COSTS.table["total"].sum() == 1220.0


def test_causes_come_largest_first_and_the_title_names_a_cause_on_record():
    assert list(summaries.costs_by(COSTS, "cause")["cause"]) == ["not recorded", "compressor", "wiring"]
    (picture,) = pictures.causes_picture(COSTS)
    assert title_of(picture) == "Of the causes named, compressor takes most: 34 % of the money"


def test_money_by_month_is_drawn_as_small_multiples_on_one_scale():
    drawn = pictures.months_pictures(COSTS)
    assert [title_of(picture).split(":")[0] for picture in drawn] == [
        "Labor",
        "Parts",
        "Refrigerant",
        "Other",
        "Credit",
    ]
    scales = {picture.chart.to_dict()["layer"][1]["encoding"]["y"]["scale"]["domain"][1] for picture in drawn}
    assert sorted(scales) == pytest.approx([700 * 1.12])
    assert title_of(drawn[0]) == "Labor: $150"


def test_money_by_building_stands_in_walking_order():
    (picture,) = pictures.building_costs_pictures(COSTS, PLACES)
    assert labels_of(picture) == ["building 10", "building 2"]
    assert title_of(picture) == "Oak: $1,220"


def test_no_costs_no_pictures():
    empty = answer([cost("2025-05", "2", "wiring")], "costs")
    assert pictures.causes_picture(empty) == []


DRIFT = answer(
    [
        {"property": "Oak", "equipment_id": "A", "pct": -12.0, "advice": "change", "leaves_tolerance": AS_OF},
        {
            "property": "Oak",
            "equipment_id": "A",
            "pct": -6.5,
            "advice": "measure again",
            "leaves_tolerance": dt.date(2026, 9, 1),
        },
        {
            "property": "Oak",
            "equipment_id": "B",
            "pct": -8.0,
            "advice": "change",
            "leaves_tolerance": dt.date(2025, 1, 1),
        },
        {
            "property": "Oak",
            "equipment_id": "B",
            "pct": 0.0,
            "advice": "leave",
            "leaves_tolerance": "more than 15 years",
        },
    ],
    "drift",
)


def test_sections_are_counted_by_building_even_where_the_answer_names_none():
    rows = summaries.sections_by_building(DRIFT, PLACES, "change")
    assert list(zip(rows["building"], rows["sections"], strict=True)) == [("10", 1), ("2", 1)]
    titles = [title_of(picture) for picture in pictures.sections_pictures(DRIFT, PLACES)]
    assert titles == ["Change: 2 sections", "Measure again: 1 section"]


def test_sections_already_outside_stand_under_now():
    years = summaries.sections_by_year(DRIFT, years=2)
    assert list(years["year"]) == ["now", "2026", "2027"]
    assert list(years["sections"]) == [2, 1, 0]
    assert title_of(pictures.leaving_picture(DRIFT)) == "3 sections by the end of 2033"


def test_the_weakest_section_to_act_on_comes_first():
    assert list(summaries.needing_action(DRIFT)["pct"]) == [-12.0, -8.0, -6.5]


STOCK = answer(
    [
        {"property": "Oak", "location": "shop", "part_no": "A", "component": "contactor", "to_order": 3, "cost": 30.0},
        {"property": "Oak", "location": "2", "part_no": "A", "component": "contactor", "to_order": 0, "cost": 0.0},
        {"property": "Oak", "location": "10", "part_no": "R", "component": "refrigerant", "to_order": 25, "cost": 99.0},
        {
            "property": "Oak",
            "location": "van:Wren",
            "part_no": "A",
            "component": "contactor",
            "to_order": 0,
            "cost": 0.0,
        },
    ],
    "stock",
)


def test_shelves_leave_pounds_and_idle_vans_out():
    shelves = summaries.order_by_shelf(STOCK, PLACES)
    assert list(zip(shelves["location"], shelves["to_order"], strict=True)) == [("2", 0), ("shop", 3)]
    (picture,) = pictures.order_pictures(STOCK, PLACES)
    assert title_of(picture) == "3 parts for Oak"
    assert labels_of(picture) == ["building 2", "shop"]


def test_only_lines_with_something_to_order_are_listed():
    assert list(summaries.lines_to_order(STOCK)["to_order"]) == [3, 25]


def forecast():
    cells = pd.DataFrame(
        {
            "property": ["Oak", "Oak", "Elm", "Oak"], "building": ["2", "10", "1", "2"],
            "part_no": ["A", "A", "A", "R"],
            "component": ["contactor", "contactor", "contactor", "refrigerant"], "why": "failed",
        }
    )  # fmt: skip
    draws = np.array([[0, 3, 5, 100], [2, 3, 5, 100], [4, 1, 5, 100], [6, 1, 5, 100]])
    return SimpleNamespace(cells=cells, draws=draws)


def test_fans_sum_futures_never_quantiles_and_leave_pounds_out():
    # at Oak the futures sum to 3, 5, 5 and 7; the two buildings' 95 % points would have summed to 9
    table = fan_table(forecast(), ("property",))
    oak = table[table["property"] == "Oak"].iloc[0]
    assert oak["mean"] == 5.0
    assert [oak[q] for q in ("q05", "q25", "q50", "q75", "q95")] == [3, 3, 5, 5, 7]


def test_fans_keep_one_place():
    assert list(fan_table(forecast(), ("building",), prop="Oak")["building"]) == ["2", "10"]
    assert fan_table(forecast(), (), building="1")["mean"].tolist() == [5.0]
    assert fan_table(forecast(), ("building",), prop="Fir").empty


def test_needs_are_drawn_by_property_on_one_scale():
    needs = fan_table(forecast(), ("property", "building"))
    drawn = pictures.building_needs_pictures(needs, PLACES)
    assert [title_of(picture) for picture in drawn] == ["Oak: about 5.0 parts", "Elm: about 5.0 parts"]
    assert labels_of(drawn[0]) == ["building 10", "building 2"]
    ends = {picture.chart.to_dict()["layer"][0]["encoding"]["x"]["scale"]["domain"][1] for picture in drawn}
    assert len(ends) == 1
    (fan,) = pictures.needs_picture(fan_table(forecast(), ("component",)))
    assert title_of(fan).startswith("Most needed: contactor, about 10")
    assert pictures.needs_picture(needs.head(0)) == []


def test_rates_by_building_name_the_worst_of_each_property():
    rows = [
        {
            "property": "Oak",
            "building": b,
            "component": c,
            "shrunk_rate": r,
            "shrunk_low": r - 0.1,
            "shrunk_high": r + 0.1,
        }
        for b, c, r in (("2", "", 0.7), ("10", "", 0.4), ("2", "wiring", 9.9))
    ]
    (picture,) = pictures.building_rates_pictures(answer(rows, "rates"), PLACES)
    assert title_of(picture) == "Most often in building 2: about 0.70, 0.60 to 0.80"


def test_failures_are_drawn_in_the_order_of_the_units_named():
    days = pd.DataFrame(
        {"equipment_id": ["A", "B", "B"], "day": pd.to_datetime(["2024-05-01"] * 3), "component": "wiring"}
    )
    (picture,) = pictures.failures_picture(days, ("B", "A"))
    assert title_of(picture) == "3 failures of 2 units"
    assert labels_of(picture) == ["B", "A"]
    assert pictures.failures_picture(days.head(0), ()) == []


def test_units_more_likely_bad_than_not_are_named_surest_first():
    units = answer([{"equipment_id": tag, "p_bad": p} for tag, p in (("A", 0.6), ("B", 0.99), ("C", 0.5))])
    assert list(summaries.likely_bad(units)["equipment_id"]) == ["B", "A"]


def test_meters_are_drawn_around_zero():
    (picture,) = pictures.meters_picture(answer([{"meter": "M1", "bias_pct": -2.4, "low": -3.0, "high": -2.0}]))
    assert "domainMin" not in str(picture.chart.to_dict()["layer"][0]["encoding"]["x"])


def test_the_heat_is_drawn_where_weather_is_known():
    rows = [
        {"property": "", "month": "2025-06", "calls": 9, "degree_days": 400.0, "rate": 1.0},
        {"property": "Oak", "month": "2025-06", "calls": 9, "degree_days": 400.0, "rate": 1.0},
    ]
    drawn = pictures.heat_pictures(answer(rows))
    assert [title_of(picture) for picture in drawn] == ["9 calls in 1 month", "Each month: its heat and its calls"]
    rows[0]["degree_days"] = np.nan
    assert len(pictures.heat_pictures(answer(rows[:1]))) == 1


def test_the_account_of_a_load_is_put_in_words():
    report = LoadReport(
        data_version="s", loaded=True, accounts=(), remarks=(),
        reasons=(("visits", "quarantined", "unknown_unit", 4), ("readings", "duplicate", "same_row", 9)),
        notices=(("readings", "decimal_slip", 3),),
    )  # fmt: skip
    assert summaries.reasons_table(report)["meaning"].tolist() == [
        "the same in every column as another record",
        "no unit of that tag is known",
    ]
    (notice,) = summaries.notices_table(report).to_dict("records")
    assert (notice["rule"], notice["records"]) == ("decimal slip", 3)
    assert notice["meaning"] == "ten times the rating: the decimal point slipped"


def test_a_scale_needs_something_to_show():
    assert summaries.top_edge(pd.DataFrame({"n": [0.0]}), "n") == 1.0
    assert summaries.top_edge(pd.DataFrame({"n": []}), "n") == 1.0
    assert summaries.top_edge(pd.DataFrame({"n": [10.0], "m": [20.0]}), "n", "m") == pytest.approx(22.4)
