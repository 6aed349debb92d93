"""Each page's opening sentence answers its question with the answer's own numbers."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from fleet.answer import Answer, AnswerColumn
from fleet.present.sentences import (
    building_sentence,
    load_sentence,
    not_enough,
    opening,
    order_sentence,
    service_sentence,
)

AS_OF = dt.date(2026, 3, 1)


def answer(name, rows, **more):
    table = pd.DataFrame(rows)
    columns = tuple(AnswerColumn(name=str(column), kind="text", meaning="") for column in table.columns)
    return Answer(name=name, as_of=AS_OF, method="", n_used=1, table=table, columns=columns, **more)


def line(**cells):
    return {
        "property": "Juniper", "location": "3", "component": "run capacitor", "to_order": 1, "cost": 10.0,
        "order_by": "2026-04-09", **cells,
    }  # fmt: skip


def test_an_order_says_how_many_for_how_much_and_by_when():
    lines = [
        line(to_order=40, cost=2000.2),
        line(location="7", to_order=6, cost=309.6, order_by="2026-04-20"),
        line(to_order=0),
    ]
    assert opening(answer("stock", lines)) == "Order 46 parts for $2,310 by April 9, for 2 shelves."


def test_an_order_says_what_is_late_and_what_has_no_price():
    lines = [line(order_by="late"), line(location="7", cost=np.nan, order_by=None), line(location="8", order_by="late")]
    said = order_sentence(pd.DataFrame(lines), AS_OF)
    assert said == (
        "Order 3 parts for $20.00, for 3 shelves; 2 lines are late already, so order those today and ask how long they "
        "take; 1 line without a price isn't counted in it."
    )


def test_refrigerant_is_ordered_in_pounds():
    said = order_sentence(pd.DataFrame([line(), line(component="refrigerant", to_order=25, cost=500.0)]), AS_OF)
    assert said.startswith("Order 1 part and 25 pounds of refrigerant for $510 by April 9")


def test_nothing_to_order_is_said():
    assert order_sentence(pd.DataFrame([line(to_order=0)]), AS_OF).startswith("Nothing needs ordering")


def test_service_and_season_cost():
    assert service_sentence(0.904, 1234.5) == (
        "With it about 90 % of the season's part needs are met from the shelf, over all properties; pieces left over "
        "and pieces short are expected to cost $1,234 together."
    )


def rate(component, failures, rate_=0.5, low=0.4, high=0.6, **cells):
    return {
        "component": component, "failures": failures, "rate": rate_, "low": low, "high": high, "shrunk_rate": rate_,
        "ratio_low": np.nan, "note": "", **cells,
    }  # fmt: skip


def test_rates_name_the_fleet_and_the_component_that_fails_most():
    said = opening(answer("rates", [rate("contactor", 20), rate("wiring", 5), rate("", 25, 0.53, 0.5, 0.56)]))
    assert said == "A unit fails about 0.53 times a year, 0.50 to 0.56; most often the contactor, 20 of 25 failures."


def test_rates_of_one_component():
    said = opening(answer("rates", [rate("contactor", 20, 0.05, 0.04, 0.07)], settings={"component": "contactor"}))
    assert said == "A unit's contactor fails about 0.050 times a year, 0.040 to 0.070."


def test_rates_without_time_at_risk_say_why():
    said = opening(answer("rates", [rate("", 0, np.nan, np.nan, np.nan, note="no time at risk")]))
    assert said == not_enough("no time at risk")


@pytest.mark.parametrize(("ratio_low", "ending"), [(0.8, "; chance could explain that."), (1.2, ".")])
def test_rates_by_group_name_the_worst_and_whether_chance_explains_it(ratio_low, ending):
    rows = [
        rate("", 9, 0.6, 0.5, 0.7, model_family="M3R", ratio_low=ratio_low),
        rate("", 4, 0.3, 0.2, 0.5, model_family="K2R"),
    ]
    said = opening(answer("rates", rows, settings={"by": ("model_family",)}))
    assert said == f"Of 2 groups by model family, M3R fails most: about 0.60, 0.50 to 0.70 a unit-year{ending}"


def test_capacitors():
    rows = [{"advice": word} for word in ("change", "change", "measure again", "leave", "no reading")]
    assert opening(answer("drift", rows)) == (
        "Change 2 capacitor sections and measure 1 again, of 5 in service; 1 have no reading of their own."
    )
    assert opening(answer("drift", rows[3:])).startswith("No capacitor section needs a change or another reading now")


def test_meters_name_the_one_furthest_off():
    rows = [
        {"meter": "M1", "bias_pct": 0.1, "low": -0.2, "high": 0.4},
        {"meter": "M3", "bias_pct": -2.4, "low": -2.9, "high": -1.9},
    ]
    said = opening(answer("meters", rows))
    assert said == "Of 2 meters, M3 is furthest off: it reads low by about 2.4 %, 1.9 to 2.9."
    assert opening(answer("meters", rows[:1])) == ("There is one meter, so nothing tells whether it reads high or low.")


def test_callbacks_separate_chance_from_the_rest():
    row = {
        "by": "all",
        "value": "",
        "calls": 1393,
        "returned": 200,
        "expected": 120.2,
        "share": 0.057,
        "low": 0.042,
        "high": 0.074,
    }
    assert opening(answer("callbacks", [row])) == (
        "Of 1,393 calls, 200 came back, where about 120 would by chance; the share beyond chance is about 5.7 %, "
        "4.2 to 7.4."
    )


def test_failing_units_are_named_with_their_record():
    rows = [
        {"equipment_id": "A", "calls": 12, "unit_years": 5.9, "p_bad": 0.97, "expected_calls": 1.23},
        {"equipment_id": "B", "calls": 9, "unit_years": 5.9, "p_bad": 0.71, "expected_calls": 1.0},
        {"equipment_id": "C", "calls": 5, "unit_years": 5.9, "p_bad": 0.2, "expected_calls": 0.4},
    ]
    said = opening(answer("units", rows))
    seen = "12 calls in 5.9 years; about 1.2 more expected next year"
    assert said == f"2 units likely fail over twice as often as their kind: A ({seen}), B."
    assert opening(answer("units", rows[::2])) == f"A likely fails over twice as often as its kind: {seen}."
    assert opening(answer("units", rows[2:])) == "No unit likely fails over twice as often as its kind."


CLUSTER = {
    "property": "Juniper", "building": "7", "component": "contactor", "from_date": dt.date(2024, 6, 26),
    "to_date": dt.date(2024, 8, 6), "observed": 9, "expected": 1.5, "p_value": 0.001, "alert": "yes",
}  # fmt: skip


def test_clusters_say_where_when_and_what_was_expected():
    assert opening(answer("clusters", [CLUSTER])) == (
        "In Juniper 7 the contactor failed 9 times from June 26 to August 6, 2024, where about 1.5 was to be expected."
    )
    assert "1 more cluster named below" in opening(answer("clusters", [CLUSTER, CLUSTER | {"p_value": 0.02}]))
    assert opening(answer("clusters", [CLUSTER | {"alert": "no"}])).startswith(
        "No building had more failures close together"
    )
    assert opening(answer("clusters", [CLUSTER | {"property": ""}])).startswith("In building 7 the contactor")


def test_lots():
    row = {
        "part_no": "RC",
        "lot": "22W08",
        "fitted": 54,
        "failed": 17,
        "expected": 4.67,
        "p_value": 0.0001,
        "alert": "yes",
    }
    assert opening(answer("lots", [row])) == (
        "Lot 22W08 of RC likely is bad: 17 of 54 fitted failed, where about 4.7 was to be expected."
    )
    assert opening(answer("lots", [row | {"alert": "no"}])) == ("The one lot fails no more than chance explains.")


def need(part_no, mean, building="", why="", component="contactor"):
    return {
        "building": building, "part_no": part_no, "component": component, "why": why, "mean": mean, "q05": mean / 2,
        "q95": mean * 2,
    }  # fmt: skip


def test_demand_adds_the_fleet_s_parts_once_and_leaves_pounds_out():
    rows = [need("A", 20.0), need("B", 4.0), need("A", 20.0, why="failed"), need("A", 9.0, building="3")]
    rows.append(need("RG", 40.0, component="refrigerant"))
    assert opening(answer("demand", rows)) == (
        "The season will likely take about 24 parts of 2 kinds; most of one kind is A (about 20, 10 to 40)."
    )


def test_costs_reconcile_with_the_table_and_name_a_cause():
    rows = [
        {"month": "2025-06", "cause": "compressor", "total": 900.0, "after_hours": 300.0},
        {"month": "2025-07", "cause": "not recorded", "total": 2100.0, "after_hours": 0.0},
    ]
    assert opening(answer("costs", rows)) == (
        "Cooling cost $3,000 from June 2025 to July 2025, 10 % of it after hours; the largest cause named is "
        "compressor with $900."
    )
    assert opening(answer("costs", rows[1:])).endswith("; no visit names a cause.")


def test_seasons_count_every_call_once():
    rows = [
        {"property": "", "month": "2025-07", "calls": 50},
        {"property": "", "month": "2025-01", "calls": 5},
        {"property": "Juniper", "month": "2025-07", "calls": 50},
    ]
    assert opening(answer("seasons", rows, notes=("Heat brings calls.",))) == (
        "Most calls come in July: 50 of 55. Heat brings calls."
    )
    assert opening(answer("seasons", [rows[0] | {"calls": 0}])) == not_enough("No call has come in.")


def test_an_empty_answer_says_so_with_its_first_note():
    empty = Answer(
        name="lots", as_of=AS_OF, method="", n_used=0, table=pd.DataFrame({"lot": []}),
        columns=(AnswerColumn(name="lot", kind="text", meaning=""),), notes=("No lot is written down.",),
    )  # fmt: skip
    assert opening(empty) == "There isn't enough in the log to answer this yet. No lot is written down."


def test_an_answer_nobody_wrote_a_sentence_for_is_counted():
    assert opening(answer("new", [{"a": 1}, {"a": 2}])) == "2 rows as of March 1, 2026."


def test_buildings():
    rows = [
        {"property": "Juniper", "building": "3", "mean": 14.6, "q05": 9, "q95": 22},
        {"property": "Juniper", "building": "4", "mean": 8.0, "q05": 4, "q95": 13},
        {"property": "Alder", "building": "1", "mean": 5.0, "q05": 2, "q95": 9},
    ]
    assert building_sentence(pd.DataFrame(rows)) == (
        "Juniper 3 will likely need most: about 15 parts, 9 to 22; half of all needs fall in 1 building of 3."
    )
    assert building_sentence(pd.DataFrame(rows).head(0)) == not_enough("No need of any part is foreseen.")


def test_a_load():
    assert load_sentence(23706, 56, 27, 14) == (
        "23,706 records were read: 56 refused, 27 repeated or replaced by a later version, 14 empty lines, headings or "
        "totals, the rest clean."
    )
