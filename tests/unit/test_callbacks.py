"""Callbacks: which visits are calls, which return, and what chance brings anyway."""

import datetime as dt

import numpy as np
import pytest
from scipy import stats
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.callbacks import COLUMNS, count_callbacks
from fleet.analysis.seasonal_exposure import fit_seasonal_clock
from fleet.analysis.shrinkage import shrink_with_prior
from fleet.errors import AnalysisError

YEAR = [kept("2024-01-01", "2024-12-31")]


def all_row(tmp_path, visits, **options):
    built = histories_of(tmp_path, visits=visits, equipment=[unit("U1"), unit("U2"), unit("U3")], coverage=YEAR)
    table = count_callbacks(built, **options).to_frame()
    built.close()
    return table.iloc[0], table


def test_a_call_within_thirty_days_is_a_return_and_no_call_itself(tmp_path):
    row, _ = all_row(
        tmp_path,
        [
            visit("V1", "U1", "2024-05-01"),
            visit("V2", "U1", "2024-05-31"),  # 30 days on: returns
            visit("V3", "U1", "2024-07-01"),  # 31 days on: a call of its own
            visit("V4", "U2", "2024-07-02"),
        ],
    )
    assert (row["by"], row["calls"], row["returned"]) == ("all", 3, 1)
    assert row["share"] == pytest.approx((row["returned"] - row["expected"]) / row["calls"])
    # chance brings its part of the calls whose repair held, so: expected = chance × (1 − share)
    chance = row["expected"] / (1 - row["share"])
    low, high = stats.beta.ppf([0.05, 0.95], [1, 2], [3, 2])  # Clopper and Pearson for 1 of 3
    assert low * 3 < chance < high * 3
    assert row["low"] == pytest.approx(low - chance / 3)
    assert row["high"] == pytest.approx((high * 3 - chance) / (3 - chance))


def test_window_is_an_option(tmp_path):
    row, _ = all_row(tmp_path, [visit("V1", "U1", "2024-05-01"), visit("V2", "U1", "2024-05-31")], window_days=29)
    assert (row["calls"], row["returned"]) == (2, 0)
    with pytest.raises(AnalysisError, match="window_days = 0 must lie between 1 and 365"):
        all_row(tmp_path / "again", [visit("V1", "U1", "2024-05-01")], window_days=0)


def test_rounds_turnovers_and_shut_doors_are_no_calls(tmp_path):
    row, _ = all_row(
        tmp_path,
        [
            visit("V1", "U1", "2024-05-01"),
            visit("V2", "U1", "2024-05-05", call_type="preventive maintenance"),
            visit("V3", "U1", "2024-05-06", call_type="turnover"),
            visit("V4", "U1", "2024-05-07", outcome="no access"),
        ],
    )
    assert (row["calls"], row["returned"]) == (1, 0)


def test_planned_follow_up_finishes_the_call_and_carries_its_names(tmp_path):
    row, table = all_row(
        tmp_path,
        [
            visit("V1", "U1", "2024-05-01", outcome="waiting for part", technician="Ann", finding="compressor"),
            visit("V2", "U1", "2024-05-09", call_type="follow-up", technician="Bo", finding="compressor",
                  outcome="cooling restored"),
            visit("V3", "U1", "2024-06-05", technician="Ann", finding="wiring"),  # 27 days after the finish
            visit("V4", "U2", "2024-06-05", call_type="follow-up", vendor="Firm"),  # follows nothing: a call
        ],
    )  # fmt: skip
    assert (row["calls"], row["returned"]) == (2, 1)
    by = table.set_index(["by", "value"])
    assert by.loc[("technician", "Bo"), "returned"] == 1
    assert ("technician", "Ann") not in by.index
    assert by.loc[("finding", "compressor"), "calls"] == 1
    assert by.loc[("finding", "not recorded"), "calls"] == 1
    assert by.loc[("vendor", "Firm"), "calls"] == 1


def test_other_units_calls_are_no_returns(tmp_path):
    row, _ = all_row(tmp_path, [visit("V1", "U1", "2024-05-01"), visit("V2", "U2", "2024-05-02")])
    assert (row["calls"], row["returned"]) == (2, 0)


def simulated(seed, returning, units=250, years=3):
    """Draw calls of unlike units; a share of them brings a return in the days after."""
    rng = np.random.default_rng(seed)
    start, days = dt.date(2021, 1, 1), round(365.25 * years)
    rows = []
    for number in range(units):
        called = rng.integers(0, days, rng.poisson(rng.gamma(1.5, 1 / 1.5) * years))
        back = called + 1 + np.minimum(rng.exponential(7.0, called.size).astype(int), 26)
        came = rng.random(called.size) < returning
        for day in [*called, *back[came & (back < days)]]:
            who = "Ann" if came.any() and day in called[came] else "Bo"
            rows.append(visit(f"V{len(rows)}", f"U{number}", f"{start + dt.timedelta(days=int(day))}", technician=who))
    end = start + dt.timedelta(days=days - 1)
    return {
        "visits": rows,
        "equipment": [unit(f"U{number}", installed_on="2015-01-01") for number in range(units)],
        "coverage": [kept(f"{start}", f"{end}")],
    }


@pytest.mark.parametrize("returning", [0.0, 0.10])
def test_share_beyond_chance_is_found(tmp_path, returning):
    built = histories_of(tmp_path, **simulated(11, returning))
    row = count_callbacks(built, level=0.99).to_frame().iloc[0]
    assert row["low"] < returning < row["high"]
    assert row["share"] == pytest.approx(returning, abs=0.03)  # three standard errors at 700 calls
    assert row["expected"] > 40  # the naive share would be read 7 points too high


def test_hard_jobs_are_no_reproach(tmp_path):
    # Ann takes half of the compressors, which come back for everyone; her share is high, and yet what like work shows
    rng = np.random.default_rng(5)
    easy = ("contactor", "wiring", "thermostat", "transformer")
    visits = []
    for number in range(600):
        hard = number % 3 == 0
        who = "Ann" if hard and number % 2 else ("Bo" if number % 5 else "Cy")
        finding = "compressor" if hard else easy[number % 4]
        day = dt.date(2021, 1, 1) + dt.timedelta(days=int(rng.integers(0, 1000)))
        visits.append(visit(f"V{number}", f"U{number}", f"{day}", technician=who, finding=finding))
        if rng.random() < (0.35 if hard else 0.03):
            back = day + dt.timedelta(days=int(rng.integers(1, 25)))
            visits.append(visit(f"B{number}", f"U{number}", f"{back}", technician=who, finding=finding))
    units = [unit(f"U{number}", installed_on="2015-01-01") for number in range(600)]
    built = histories_of(tmp_path, visits=visits, equipment=units, coverage=[kept("2021-01-01", "2023-12-31")])
    by = count_callbacks(built).to_frame().set_index(["by", "value"])
    ann = by.loc[("technician", "Ann")]
    assert ann["share"] > 2 * by.loc[("all", ""), "share"]
    assert ann["usual_share"] > 2 * by.loc[("technician", "Bo"), "usual_share"]
    assert ann["usual_low"] < ann["share"] < ann["usual_high"]
    assert ann["alert"] == "no"
    assert by.loc[("finding", "compressor"), "alert"] == "yes"
    assert by.loc[("finding", "contactor"), "p_value"] > 0.5


def test_technician_whose_work_comes_back_is_named(tmp_path):
    built = histories_of(tmp_path, **simulated(12, 0.10))
    by = count_callbacks(built).to_frame().set_index(["by", "value"])
    assert by.loc[("technician", "Ann"), "alert"] == "yes"
    assert by.loc[("technician", "Bo"), "alert"] == "no"


def test_expected_returns_need_the_index_call_in_the_rate():
    # calls pick the units that call often: with the index call the expectation is right, without it low
    rng = np.random.default_rng(3)
    rate, years = rng.gamma(1.2, 1 / 1.2, 40_000), 3.0
    n = rng.poisson(rate * years)
    truth = float((n * rate).sum())
    with_index = shrink_with_prior(n, np.full(n.size, years), shape=1.2, rate=1.2).mean
    without = shrink_with_prior(np.maximum(n - 1, 0), np.full(n.size, years), shape=1.2, rate=1.2).mean
    assert float((n * with_index).sum()) == pytest.approx(truth, rel=0.01)
    assert float((n * without).sum()) < 0.9 * truth


def test_seasonal_clock_runs_fast_in_summer():
    first = int(np.datetime64("2023-01-01").astype("datetime64[D]").astype(int))
    july = np.arange(first + 181, first + 212)
    clock = fit_seasonal_clock(np.repeat(july, 10), np.array([first]), np.array([first + 365]))
    assert clock.factors.argmax() == 6
    assert clock.years([first], [first + 365])[0] == pytest.approx(365 / 365.25)
    assert clock.years([first + 181], [first + 211])[0] > 5 * clock.years([first], [first + 30])[0]
    flat = fit_seasonal_clock(np.zeros(0, dtype=np.int64), np.array([first]), np.array([first + 365]))
    assert flat.factors == pytest.approx(np.ones(12))


def test_smallest_log(tmp_path):
    answer = count_callbacks(one_visit(tmp_path))
    table = answer.to_frame()
    assert list(table.columns) == [column.name for column in COLUMNS]
    assert (table.loc[0, "calls"], table.loc[0, "returned"], table.loc[0, "share"]) == (1, 0, 0.0)
    assert "only 1 call" in table.loc[0, "note"]


def test_no_call_at_all(tmp_path):
    row, _ = all_row(tmp_path, [visit("V1", "U1", "2024-05-01", call_type="preventive maintenance")])
    assert row["calls"] == 0
    assert np.isnan(row["share"])
    assert row["note"] == "no calls, so no share"
