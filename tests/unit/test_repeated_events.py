"""The curve of failures by date and by age, and the verdict: logs counted by hand, fleets with a planted trend."""

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.failure_trends import COLUMNS as TREND_COLUMNS
from fleet.analysis.failure_trends import compare_trends
from fleet.analysis.repeated_events import COLUMNS, describe_recurrence
from fleet.errors import AnalysisError

TWO_YEARS = [kept("2022-01-01", "2023-12-31")]


def six_units(**cells):
    return [unit(f"U{n}", installed_on="2018-01-01", **cells) for n in range(6)]


def day_rows(answer):
    table = answer.to_frame()
    return table.set_index("day")


def test_curve_by_date_is_the_running_sum_of_failures_over_units(tmp_path):
    equipment = six_units()
    equipment[5]["retired_on"] = "2022-12-31"
    histories = histories_of(
        tmp_path,
        coverage=TWO_YEARS,
        equipment=equipment,
        visits=[
            visit("V1", "U0", "2022-03-01", finding="contactor"),
            visit("V2", "U5", "2022-12-31", finding="wiring"),  # its last day counts, and six are watched
            visit("V3", "U0", "2023-06-01", finding="contactor"),
        ],
    )
    rows = day_rows(describe_recurrence(histories))
    assert list(rows.index) == [dt.date(2022, 3, 1), dt.date(2022, 12, 31), dt.date(2023, 6, 1)]
    assert rows["units"].tolist() == [6, 6, 5]
    np.testing.assert_allclose(rows["mean_failures"], [1 / 6, 2 / 6, 2 / 6 + 1 / 5])
    assert rows["years"].iloc[0] == pytest.approx(59.5 / 365.25)
    assert (rows["low"] < rows["mean_failures"]).all()
    one = describe_recurrence(histories, component="contactor").to_frame()
    assert one["mean_failures"].tolist() == pytest.approx([1 / 6, 1 / 6 + 1 / 5])
    assert one["component"].unique().tolist() == ["contactor"]


def test_curve_by_age_begins_where_enough_are_watched(tmp_path):
    histories = histories_of(
        tmp_path,
        coverage=TWO_YEARS,
        equipment=[*six_units(), unit("OLD", installed_on="2002-01-01"), unit("NN")],
        visits=[
            visit("V1", "U0", "2022-07-01", finding="wiring"),
            visit("V2", "OLD", "2022-07-01", finding="wiring"),  # at twenty it is watched alone
            visit("V3", "NN", "2022-07-01", finding="wiring"),
        ],
    )
    answer = describe_recurrence(histories, clock="age")
    table = answer.to_frame()
    assert len(table) == 1
    assert table.loc[0, "years"] == pytest.approx((1461 + 181 + 0.5) / 365.25)
    assert table.loc[0, "day"] is None
    assert (table.loc[0, "units"], table.loc[0, "mean_failures"]) == (6, pytest.approx(1 / 6))
    assert answer.excluded["failures of units of unknown age, in no curve by age"] == 1


def test_a_gap_in_the_log_breaks_the_curve(tmp_path):
    histories = histories_of(
        tmp_path,
        coverage=[kept("2022-01-01", "2022-06-30"), kept("2023-01-01", "2023-12-31")],
        equipment=six_units(),
        visits=[
            visit("V1", "U0", "2022-03-01", finding="wiring"),
            visit("V2", "U1", "2022-09-01", finding="wiring"),  # in the gap
            visit("V3", "U2", "2023-03-01", finding="wiring"),
        ],
    )
    table = describe_recurrence(histories).to_frame()
    assert table["segment"].tolist() == [1, 2]
    assert table["mean_failures"].tolist() == pytest.approx([1 / 6, 1 / 6])


def test_a_replaced_unit_carries_its_place_on(tmp_path):
    """Every unit fails once, on the day it is replaced: its watch ends with its failure, its place's doesn't."""
    rng = np.random.default_rng(3)
    visits = []
    for n in range(40):
        day = dt.date(2022, 1, 1) + dt.timedelta(days=int(rng.integers(0, 730)))
        visits.append(visit(f"V{n}", f"U{n:02d}", day.isoformat(), finding="compressor", outcome="unit replaced"))
    histories = histories_of(
        tmp_path,
        coverage=TWO_YEARS,
        equipment=[unit(f"U{n:02d}", installed_on="2010-01-01") for n in range(40)],
        visits=visits,
    )
    row = compare_trends(histories).to_frame().set_index("component").loc["compressor"]
    assert row["failures"] == 40
    assert row["low"] < 1 < row["high"]
    assert row["verdict"] == "can't tell"


def test_places_given_up_for_good_make_no_trend(tmp_path):
    """Thirty of forty units fail and are taken out within days; before that every one failed at a steady rate."""
    rng = np.random.default_rng(4)
    visits, equipment = [], []
    for n in range(40):
        last = 730 if n >= 30 else int(rng.integers(200, 730))
        equipment.append(unit(f"U{n:02d}", installed_on="2010-01-01"))
        if n < 30:
            equipment[-1]["retired_on"] = (dt.date(2022, 1, 1) + dt.timedelta(days=last)).isoformat()
            days = [*rng.integers(0, last - 40, 2), last - 5]
        else:
            days = rng.integers(0, 730, 2)
        dates = [(dt.date(2022, 1, 1) + dt.timedelta(days=int(d))).isoformat() for d in days]
        visits += [visit(f"V{n}-{k}", f"U{n:02d}", date, finding="wiring") for k, date in enumerate(dates)]
    histories = histories_of(tmp_path, coverage=TWO_YEARS, equipment=equipment, visits=visits)
    row = compare_trends(histories).to_frame().set_index("component").loc["wiring"]
    assert row["low"] < 1 < row["high"]


def planted(folder, *, factor, seed, months=range(1, 13), last="2023-06-30"):
    """Three and a half years; failures fall in the given months and come ``factor`` times as often each year."""
    rng = np.random.default_rng(seed)
    days = [d for d in pd.date_range("2020-01-01", last).date if d.month in months]
    chance = np.array([factor ** ((d - days[0]).days / 365.25) for d in days])
    visits = []
    for n in range(240):
        for k, d in enumerate(np.sort(rng.choice(len(days), rng.poisson(1.4), p=chance / chance.sum()))):
            visits.append(visit(f"V{n}-{k}", f"U{n:03d}", days[d].isoformat(), finding="fan motor"))
    return histories_of(
        folder,
        coverage=[kept("2020-01-01", last)],
        equipment=[unit(f"U{n:03d}", installed_on=f"20{10 + n % 10}-01-01") for n in range(240)],
        visits=visits,
    )


def test_a_planted_trend_is_found_and_sized(tmp_path):
    histories = planted(tmp_path, factor=1.5, seed=5)
    # at 99 %: one fleet in a hundred lies outside (how often at 90 % is measured in tests/studies/rates_study.py)
    answer = compare_trends(histories, level=0.99)
    row = answer.to_frame().set_index("component").loc["fan motor"]
    assert row["verdict"] == "more frequent"
    assert row["low"] < 1.5 < row["high"]
    assert row["laplace_z"] > 3
    assert row["p_value"] < 0.01
    assert list(answer.table.columns) == [c.name for c in TREND_COLUMNS]
    note = describe_recurrence(histories, component="fan motor", clock="age").notes[0]
    assert note.startswith("Taken alone, failures of the fan motor grow more frequent: each year they come 1.")


def test_a_log_that_ends_after_another_summer_shows_no_trend(tmp_path):
    """Failures in May and June alone: four such seasons in three and a half years, at one rate."""
    row = compare_trends(planted(tmp_path, factor=1.0, seed=6, months=(5, 6))).to_frame().set_index("component")
    assert row.loc["fan motor", "verdict"] == "can't tell"
    assert row.loc["fan motor", "low"] < 1 < row.loc["fan motor", "high"]
    # without the months taken out, the fourth season in half a year's stead would read as growth
    assert row.loc["fan motor", "high"] / row.loc["fan motor", "low"] < 1.6


def test_little_data_is_said(tmp_path):
    histories = histories_of(
        tmp_path,
        coverage=TWO_YEARS,
        equipment=six_units(),
        visits=[visit("V1", "U0", "2022-03-01", finding="wiring")],
    )
    row = compare_trends(histories).to_frame().set_index("component").loc["wiring"]
    assert math.isnan(row["yearly_factor"])
    assert row["note"] == "under 10 failures: not enough data for a trend"
    assert "can't be told: under 10 failures" in describe_recurrence(histories).notes[0]


def test_smallest_log_and_no_failure_of_a_component(tmp_path):
    histories = one_visit(tmp_path)
    answer = describe_recurrence(histories)
    table = answer.to_frame()
    assert list(table.columns) == [c.name for c in COLUMNS]
    assert table["note"].tolist() == ["no failure at risk in the log: no curve"]
    assert np.isnan(table.loc[0, "mean_failures"])
    assert answer.n_used == 0
    assert compare_trends(histories).to_frame()["component"].tolist() == [""]


def test_kits_are_watched_from_the_day_they_are_known(tmp_path):
    histories = histories_of(
        tmp_path,
        coverage=TWO_YEARS,
        equipment=[*six_units(start_uf_min=88, start_uf_max=108), unit("NO", installed_on="2018-01-01")],
        visits=[
            visit("V1", "U0", "2022-03-01", finding="hard start"),
            visit("V2", "NO", "2022-04-01", finding="hard start"),
        ],
    )
    table = describe_recurrence(histories, component="hard start").to_frame()
    assert table["units"].tolist() == [6]
    assert table["mean_failures"].tolist() == pytest.approx([1 / 6])


def test_long_curves_keep_their_sum(tmp_path):
    rng = np.random.default_rng(9)
    visits = [
        visit(f"V{n}-{k}", f"U{n:02d}", (dt.date(2022, 1, 1) + dt.timedelta(days=int(d))).isoformat(), finding="wiring")
        for n in range(60) for k, d in enumerate(rng.choice(18, 12, replace=False) * 40 + n % 40)
    ]  # fmt: skip
    histories = histories_of(
        tmp_path,
        coverage=TWO_YEARS,
        equipment=[unit(f"U{n:02d}", installed_on="2018-01-01") for n in range(60)],
        visits=visits,
    )
    answer = describe_recurrence(histories)
    assert len(answer.table) == 400
    assert answer.n_used == 720
    assert answer.to_frame()["mean_failures"].iloc[-1] == pytest.approx(12.0)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"clock": "month"}, "clock = 'month' is not known; choose from calendar, age"),
        ({"component": "flux"}, "'flux' is not a component"),
        ({"level": 0.0}, "level = 0.0 must lie between 0 and 1"),
    ],
)
def test_errors_say_what_is_wrong(tmp_path, asked, said):
    with pytest.raises(AnalysisError, match=said):
        describe_recurrence(one_visit(tmp_path), **asked)
