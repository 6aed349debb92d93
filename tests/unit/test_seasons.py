"""Seasons: calls by month, their heat, their nights, and how long homes wait."""

import numpy as np
import pandas as pd
import pytest
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.poisson import garwood_interval
from fleet.analysis.seasons import COLUMNS, describe_seasons, heat_effect

DONE = {"outcome": "cooling restored"}
VISITS = [
    visit("V1", "U1", "2024-07-01 20:00", finished_at="2024-07-01 23:00", after_hours="yes", **DONE),
    visit("V2", "U1", "2024-07-10 09:00", finished_at="2024-07-10 14:00", after_hours="no", **DONE),
    visit("V3", "P1", "2024-07-12 09:00", finished_at="2024-07-12 10:00", after_hours="no", **DONE),
    visit("V4", "U1", "2024-07-15", finished_at="2024-07-15 10:00", **DONE),
    visit("V5", "U1", "2024-07-20 09:00", finished_at="2024-07-20 10:00", outcome="waiting for part", after_hours="no"),
    visit("V6", "U1", "2024-07-25 09:00", finished_at="2024-07-25 10:00", call_type="follow-up", **DONE),
    visit("V7", "U1", "2024-07-26", call_type="preventive maintenance"),
    visit("V8", "U1", "2024-07-27", call_type="turnover"),
]  # fmt: skip


def summer(tmp_path, **tables):
    days = pd.date_range("2024-06-01", "2024-08-31")
    weather = [{"property": "Oak Row", "date": f"{d:%Y-%m-%d}", "high_f": 95, "low_f": 75} for d in days]
    log = {
        "visits": VISITS,
        "equipment": [unit("U1"), unit("P1", priority_home="yes")],
        "coverage": [kept("2024-06-01", "2024-08-31")],
        "weather": weather,
    }
    return describe_seasons(histories_of(tmp_path, **(log | tables)))


def test_month_by_hand(tmp_path):
    table = summer(tmp_path).to_frame()
    assert list(table.columns) == [column.name for column in COLUMNS]
    row = table.set_index(["property", "month"]).loc[("", "2024-07")]
    assert row["calls"] == 5
    assert row["unit_years"] == pytest.approx(2 * 31 / 365.25)
    exact = garwood_interval(5, 2 * 31 / 365.25)
    assert (row["low"], row["high"]) == (pytest.approx(exact.low), pytest.approx(exact.high))
    assert row["degree_days"] == pytest.approx(31 * 20.0)
    assert row["night_share"] == pytest.approx(1 / 4)  # V4's hour isn't known
    assert row["timed_calls"] == 3
    assert row["hours_without_cooling"] == pytest.approx(3.0)
    assert (row["calls_priority"], row["hours_priority"]) == (1, pytest.approx(1.0))


def test_month_without_calls_has_a_row(tmp_path):
    row = summer(tmp_path).to_frame().set_index(["property", "month"]).loc[("Oak Row", "2024-06")]
    assert (row["calls"], row["rate"], row["low"]) == (0, 0.0, 0.0)
    assert row["high"] > 0
    assert np.isnan(row["night_share"])


def test_missing_weather_is_blank(tmp_path):
    answer = summer(tmp_path, weather=[{"property": "Oak Row", "date": "2024-06-01", "high_f": 95, "low_f": 75}])
    row = answer.to_frame().set_index(["property", "month"]).loc[("Oak Row", "2024-07")]
    assert np.isnan(row["degree_days"])
    assert "weather missing" in row["note"]
    assert any("Not enough data to say how calls follow heat" in note for note in answer.notes)


def test_calls_follow_heat():
    rng = np.random.default_rng(4)
    heat = np.tile([0, 0, 0, 50, 200, 400, 600, 550, 300, 80, 0, 0], 4).astype(float)
    years = np.full(heat.size, 40.0)
    calls = rng.poisson(0.4 * years * np.exp(0.3 * heat / 100))
    found = heat_effect(pd.DataFrame({"calls": calls, "unit_years": years, "degree_days": heat}))
    assert found is not None
    per_100, low, high = found
    assert low < np.exp(0.3) < high
    assert per_100 == pytest.approx(np.exp(0.3), rel=0.05)
    assert heat_effect(pd.DataFrame({"calls": [3], "unit_years": [1.0], "degree_days": [9.0]})) is None


def test_smallest_log(tmp_path):
    answer = describe_seasons(one_visit(tmp_path))
    row = answer.to_frame().iloc[0]
    assert (row["month"], row["calls"]) == ("2024-07", 1)
    assert np.isnan(row["degree_days"])
    assert row["note"] != ""
