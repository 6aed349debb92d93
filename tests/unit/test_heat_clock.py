"""Time at risk weighed by heat: worked by hand, kept comparable, and what happens where weather is missing."""

import datetime as dt

import pytest
from small_logs import histories_of, kept, unit, visit

from fleet.analysis.heat_clock import CALENDAR_SHARE
from fleet.analysis.rates import estimate_rates
from fleet.errors import AnalysisError

YEAR = 365.25


def weather(place, first, days, degree_days):
    """Return ``days`` days with so many degree days each (high and low both 65 F above nothing)."""
    day = dt.date.fromisoformat(first)
    return [
        {"property": place, "date": (day + dt.timedelta(days=k)).isoformat(), "high_f": 65 + d, "low_f": 65 + d}
        for k, d in enumerate(degree_days[i] for i in range(days))
    ]


def hot_half(place="Oak Row"):
    """1 to 10 June cold, 11 to 20 June ten degree days each."""
    return weather(place, "2023-06-01", 20, [0] * 10 + [10] * 10)


def june_log(folder, *, rows=None, extra_units=(), extra_coverage=(), **tables):
    """A is there all twenty days, B from the hot half on; each fails once."""
    return histories_of(
        folder,
        coverage=[kept("2023-06-01", "2023-06-20"), *extra_coverage],
        equipment=[
            unit("A", installed_on="2015-01-01", model_family="P"),
            unit("B", installed_on="2023-06-11", model_family="Q"),
            *extra_units,
        ],
        visits=[
            visit("V1", "A", "2023-06-05", finding="contactor"),
            visit("V2", "B", "2023-06-15", finding="contactor"),
        ],
        **({"weather": rows} if rows else {}),
        **tables,
    )


def years(answer, component=""):
    frame = answer.to_frame()
    chosen = frame[frame["component"] == component]
    return chosen.set_index("model_family")["unit_years"] * YEAR


def test_a_hot_day_weighs_more_and_the_whole_stays_as_long(tmp_path):
    histories = june_log(tmp_path, rows=hot_half())
    calendar = years(estimate_rates(histories, by=["model_family"], adjust=False))
    answer = estimate_rates(histories, by=["model_family"], adjust=False, clock="heat")
    heat = years(answer)
    assert calendar.to_dict() == {"P": pytest.approx(20), "Q": pytest.approx(10)}
    # 200 degree days over 30 unit-days: a hot day weighs 10 / (200/30) = 1.5, a cold one nothing
    share = CALENDAR_SHARE
    assert heat["P"] == pytest.approx(share * 20 + (1 - share) * 10 * 1.5)
    assert heat["Q"] == pytest.approx(share * 10 + (1 - share) * 10 * 1.5)
    assert heat.sum() == pytest.approx(30)
    assert answer.settings["clock"] == "heat"
    assert any("6.7 cooling degree days" in note for note in answer.notes)
    rates = answer.to_frame().query("component == 'contactor'").set_index("model_family")["rate"]
    assert rates["P"] == pytest.approx(YEAR / heat["P"])


def test_the_calendar_is_the_default_and_comes_back(tmp_path):
    histories = june_log(tmp_path, rows=hot_half())
    before = estimate_rates(histories, by=["model_family"])
    estimate_rates(histories, by=["model_family"], clock="heat")
    after = estimate_rates(histories, by=["model_family"])
    assert before.table.equals(after.table)
    assert before.settings["clock"] == "calendar"


def test_a_failure_on_a_cold_day_has_time_at_risk(tmp_path):
    """C is watched only on cold days, and fails on one."""
    histories = june_log(
        tmp_path,
        rows=hot_half(),
        extra_units=[unit("C", installed_on="2015-01-01", retired_on="2023-06-08", model_family="R")],
    )
    heat = years(estimate_rates(histories, by=["model_family"], clock="heat"))
    assert heat["R"] == pytest.approx(CALENDAR_SHARE * 8)


def test_without_weather_the_calendar_is_used_and_said(tmp_path):
    answer = estimate_rates(june_log(tmp_path), by=["model_family"], clock="heat")
    assert answer.settings["clock"] == "calendar"
    assert any(note.startswith("No weather is given, so running time can't be told") for note in answer.notes)
    assert years(answer)["P"] == pytest.approx(20)


def test_weather_without_any_heat_falls_back(tmp_path):
    answer = estimate_rates(june_log(tmp_path, rows=weather("Oak Row", "2023-06-01", 20, [0] * 20)), clock="heat")
    assert answer.settings["clock"] == "calendar"
    assert any(note.startswith("The weather given has no heat") for note in answer.notes)


def test_a_missing_day_takes_the_months_average(tmp_path):
    rows = hot_half()
    del rows[19]  # 20 June: the month's average is 90/19
    histories = june_log(tmp_path, rows=rows)
    answer = estimate_rates(histories, by=["model_family"], adjust=False, clock="heat")
    june = 90 / 19
    a_day = (2 * 90 + 2 * june) / 30
    share = CALENDAR_SHARE
    assert years(answer)["Q"] == pytest.approx(share * 10 + (1 - share) * (90 + june) / a_day)
    assert any("have no weather of their own day" in note for note in answer.notes)


def test_a_property_without_weather_keeps_calendar_days(tmp_path):
    histories = june_log(
        tmp_path,
        rows=hot_half(),
        extra_units=[unit("E", property="Elm Row", installed_on="2015-01-01", model_family="S")],
        extra_coverage=[kept("2023-06-01", "2023-06-20", "Elm Row")],
    )
    answer = estimate_rates(histories, by=["model_family"], adjust=False, clock="heat")
    assert years(answer)["S"] == pytest.approx(20)
    assert years(answer).sum() == pytest.approx(50)
    assert any("properties without any weather" in note for note in answer.notes)


def test_a_kit_runs_from_the_day_it_is_known(tmp_path):
    histories = june_log(
        tmp_path,
        rows=hot_half(),
        extra_units=[unit("K", installed_on="2015-01-01", start_uf_min=88, start_uf_max=108, model_family="P")],
        catalogue=[{"part_no": "KIT", "component": "hard start"}],
    )
    answer = estimate_rates(histories, by=["model_family"], component="hard start", adjust=False, clock="heat")
    heat = years(answer, "hard start")
    # K alone has a kit: all twenty days of it
    assert heat["P"] == pytest.approx(CALENDAR_SHARE * 20 + (1 - CALENDAR_SHARE) * 100 / (300 / 50))
    assert heat["Q"] == 0


def test_adjusted_ratios_use_the_clock_too(tmp_path):
    """Twelve units each; Q is watched in the hot year only, and failures follow heat: by heat Q is no worse."""
    equipment, visits = [], []
    for n in range(12):
        equipment += [
            unit(f"P{n}", installed_on="2015-01-01", model_family="P"),
            unit(f"Q{n}", installed_on="2023-01-01", model_family="Q"),
        ]
        visits += [visit(f"A{n}", f"P{n}", "2022-07-10", finding="wiring")] if n < 4 else []
        visits += [visit(f"B{n}", f"P{n}", "2023-07-10", finding="wiring")] if n < 12 else []
        visits += [visit(f"C{n}", f"Q{n}", "2023-07-10", finding="wiring")] if n < 12 else []
    rows = weather("Oak Row", "2022-01-01", 730, [(3 if k > 365 else 1) * (170 <= k % 365 < 260) for k in range(730)])
    histories = histories_of(
        tmp_path, coverage=[kept("2022-01-01", "2023-12-31")], equipment=equipment, visits=visits, weather=rows
    )
    by = {}
    for clock in ("calendar", "heat"):
        frame = estimate_rates(histories, by=["model_family"], component="wiring", clock=clock).to_frame()
        by[clock] = frame.set_index("model_family").loc["Q"]
    assert by["calendar"]["ratio"] == pytest.approx((12 / 1) / (16 / 2), rel=0.01)
    assert by["heat"]["ratio"] == pytest.approx(1.0, rel=0.04)
    assert by["heat"]["adjusted_ratio"] < 0.85 * by["calendar"]["adjusted_ratio"]


def test_unknown_clocks_are_refused(tmp_path):
    with pytest.raises(AnalysisError, match="clock = 'sun' is not known; choose from calendar, heat"):
        estimate_rates(june_log(tmp_path), clock="sun")
