"""Runs of call-backs: which calls belong together, in what order, and what they cost."""

import datetime as dt

import pandas as pd
import pytest
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.callbacks import count_callbacks
from fleet.errors import AnalysisError
from fleet.present.chain_lines import COLUMNS, list_callback_runs
from fleet.present.sentences import opening

YEAR = [kept("2024-01-01", "2024-12-31")]


def runs_of(folder, visits, parts=None, **options):
    tables = {"visits": visits, "equipment": [unit("U1"), unit("U2"), unit("U3")], "coverage": YEAR}
    built = histories_of(folder, **tables, **({"parts_used": parts} if parts else {}))
    answer, callbacks = list_callback_runs(built, **options), count_callbacks(built)
    built.close()
    return answer, callbacks


VISITS = [
    visit("V1", "U1", "2024-05-01", finding="run capacitor", technician="Ann", labor_cost="40"),
    visit("V2", "U1", "2024-05-21", finding="contactor", vendor="Cold Firm", labor_cost="60"),
    visit("V3", "U1", "2024-06-20", finding="compressor", technician="Ann", labor_cost="300"),  # 30 days on
    visit("V4", "U1", "2024-07-21", finding="wiring", labor_cost="10"),  # 31 days on: no call-back
    visit("V5", "U2", "2024-07-01", finding="fan motor"),
    visit("V6", "U2", "2024-07-06", finding="no fault found"),
    visit("V7", "U3", "2024-07-06", finding="wiring"),
]


def test_a_run_holds_each_call_within_thirty_days_of_the_last(tmp_path):
    answer, _ = runs_of(tmp_path, VISITS)
    table = answer.to_frame()
    assert list(table.columns) == [column.name for column in COLUMNS]
    assert list(table["equipment_id"]) == ["U1"] * 3 + ["U2"] * 2
    assert list(table["run"]) == [1, 1, 1, 2, 2]
    assert list(table["days"]) == [0, 20, 50, 0, 5]
    assert list(table["finding"]) == ["run capacitor", "contactor", "compressor", "fan motor", "no fault found"]
    assert list(table["who"]) == ["Ann", "Cold Firm", "Ann", "", ""]
    assert table["first_on"].iloc[2] == dt.date(2024, 6, 20)
    assert list(table["calls"]) == [3, 3, 3, 2, 2]


def test_the_calls_after_the_first_are_the_call_backs_counted_elsewhere(tmp_path):
    answer, callbacks = runs_of(tmp_path, VISITS)
    table = answer.to_frame()
    after_the_first = len(table) - table["run"].nunique()
    assert after_the_first == callbacks.excluded["calls that are themselves call-backs"] == 3
    assert opening(answer).startswith("3 calls were call-backs, in 2 runs; the longest is U1's: 3 calls in 50 days")


def test_a_run_costs_what_its_visits_cost_once_each(tmp_path):
    visits = [
        *VISITS,
        # a planned follow-up belongs to the call it finishes; a round and a shut door to none
        visit("V8", "U1", "2024-05-02", call_type="preventive maintenance", labor_cost="900"),
    ]
    parts = [{"visit_id": "V3", "part_no": "C1", "component": "compressor", "quantity": "1", "unit_cost": "200"}]
    answer, _ = runs_of(tmp_path, visits, parts)
    table = answer.to_frame()
    assert list(table["cost"])[:3] == [40.0, 60.0, 500.0]
    assert set(table["run_cost"][:3]) == {600.0}


def test_a_planned_follow_up_is_no_call_of_its_own(tmp_path):
    visits = [
        visit("V1", "U1", "2024-05-01", finding="fan motor", outcome="waiting for part", labor_cost="40"),
        visit("V2", "U1", "2024-05-09", call_type="follow-up", finding="fan motor", labor_cost="50"),
        visit("V3", "U1", "2024-05-20", finding="wiring", labor_cost="20"),
    ]
    table = runs_of(tmp_path, visits)[0].to_frame()
    assert list(table["visits"]) == [2, 1]
    assert list(table["cost"]) == [90.0, 20.0]
    assert table["last_on"].iloc[0] == dt.date(2024, 5, 9)
    assert list(table["days"]) == [0, 19]


def test_the_window_is_an_option_and_has_limits(tmp_path):
    answer, _ = runs_of(tmp_path, VISITS, window_days=20)
    assert sorted(answer.to_frame()["equipment_id"]) == ["U1", "U1", "U2", "U2"]
    assert answer.settings["window_days"] == 20
    with pytest.raises(AnalysisError, match="window_days = 366 must lie between 1 and 365"):
        runs_of(tmp_path / "again", VISITS, window_days=366)


def test_a_log_without_a_call_back_says_so(tmp_path):
    built = one_visit(tmp_path)
    answer = list_callback_runs(built)
    built.close()
    assert answer.to_frame().empty
    assert isinstance(answer.table, pd.DataFrame)
    assert opening(answer) == "No call came back soon after another in this log."
    assert answer.notes[0] == "No call was followed by another to the same unit within 30 days."
