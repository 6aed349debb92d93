"""Waits: whole calls until cooling is back, unfinished ones, priority homes, parts awaited, homes."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.home_waits import COLUMNS as HOME_COLUMNS
from fleet.analysis.home_waits import list_home_waits
from fleet.analysis.part_waits import COLUMNS as PART_COLUMNS
from fleet.analysis.part_waits import count_part_waits
from fleet.analysis.poisson import clopper_pearson
from fleet.analysis.wait_curve import compare_means, compare_medians, summarise_waits
from fleet.analysis.waits import COLUMNS, measure_waits, read_waits
from fleet.errors import AnalysisError

WINDOW = [kept("2024-01-01", "2024-12-31")]
DONE = {"outcome": "cooling restored"}


def log_of(*visits, units=None, **tables):
    return {"visits": visits, "equipment": units or [unit("U1", apartment="101")], "coverage": WINDOW} | tables


def calls_of(folder, *visits, as_of=None, **tables):
    return read_waits(histories_of(folder, as_of=as_of, **log_of(*visits, **tables)))


def call(key, reported, arrived, finished, tag="U1", **cells):
    return visit(key, tag, reported, arrived_at=arrived, finished_at=finished, **(DONE | cells))


FIRST = call("V1", "2024-07-01 08:00", "2024-07-01 10:00", "2024-07-01 11:00", outcome="waiting for part")


def test_one_visit_from_report_to_finish(tmp_path):
    row = calls_of(tmp_path, call("V1", "2024-07-01 08:00", "2024-07-01 10:00", "2024-07-01 11:30")).iloc[0]
    assert (row["hours"], row["done"], row["state"], row["home"]) == (3.5, True, "restored", "101")


def test_a_call_lasts_until_its_follow_up_restores_cooling(tmp_path):
    second = call("V2", "2024-07-03 08:00", "2024-07-03 09:00", "2024-07-03 10:00", call_type="follow-up",
                  finding="fan motor")  # fmt: skip
    found = calls_of(tmp_path, FIRST, second)
    row = found.iloc[0]
    assert len(found) == 1
    assert (row["hours"], row["part_hours"], row["component"]) == (50.0, 46.0, "fan motor")


def test_hours_after_a_temporary_repair_and_without_access_are_told_apart(tmp_path):
    found = calls_of(
        tmp_path,
        call("V1", "2024-07-01 08:00", "2024-07-01 09:00", "2024-07-01 10:00", outcome="no access"),
        call(
            "V2", "2024-07-01 18:00", "2024-07-01 18:00", "2024-07-01 19:00", call_type="follow-up", outcome="temporary"
        ),
        call("V3", "2024-07-02 19:00", "2024-07-02 20:00", "2024-07-02 21:00", call_type="follow-up"),
    )
    row = found.iloc[0]
    assert len(found) == 1
    assert (row["hours"], row["access_hours"], row["temporary_hours"], row["part_hours"]) == (37.0, 8.0, 25.0, 0.0)


def test_a_second_call_while_a_part_is_awaited_is_the_same_wait_and_a_later_one_is_not(tmp_path):
    again = call("V2", "2024-07-02 08:00", "2024-07-02 09:00", "2024-07-02 10:00")
    assert calls_of(tmp_path / "a", FIRST, again)["hours"].tolist() == [26.0]
    late = call("V2", "2024-08-20 08:00", "2024-08-20 09:00", "2024-08-20 10:00")
    found = calls_of(tmp_path / "b", FIRST, late)
    assert found["state"].tolist() == ["lost", "restored"]
    assert found["hours"].tolist() == [3.0, 2.0]


def test_a_follow_up_after_90_days_finishes_nothing(tmp_path):
    late = call("V2", "2024-10-01 08:00", "2024-10-01 09:00", "2024-10-01 10:00", call_type="follow-up")
    found = calls_of(tmp_path, FIRST, late)
    assert found["use"].tolist() == ["yes", "visits that began with no call for cooling"]


def test_a_part_still_awaited_counts_to_the_as_of_day(tmp_path):
    row = calls_of(tmp_path, FIRST, as_of=dt.date(2024, 7, 4)).iloc[0]
    assert (row["state"], row["done"], row["hours"]) == ("waiting", False, 88.0)
    assert row["part_hours"] == 85.0


def test_a_part_awaited_for_over_90_days_is_lost_from_sight(tmp_path):
    row = calls_of(tmp_path, FIRST, as_of=dt.date(2024, 11, 1)).iloc[0]
    assert (row["state"], row["hours"]) == ("lost", 3.0)


def test_a_temporary_repair_without_a_follow_up_lasted_at_least_so_long(tmp_path):
    row = calls_of(
        tmp_path, call("V1", "2024-07-01 08:00", "2024-07-01 10:00", "2024-07-01 11:00", outcome="temporary")
    ).iloc[0]
    assert (row["state"], row["done"], row["hours"]) == ("lost", False, 3.0)


def test_a_finish_that_was_not_written_down_lasted_at_least_to_the_arrival(tmp_path):
    row = calls_of(tmp_path, call("V1", "2024-07-01 08:00", "2024-07-01 10:00", "")).iloc[0]
    assert (row["state"], row["done"], row["hours"]) == ("finish unknown", False, 2.0)


def test_what_is_left_out_says_why(tmp_path):
    answer = measure_waits(
        histories_of(
            tmp_path,
            **log_of(
                call("V1", "2024-07-01 08:00", "2024-07-01 10:00", "2024-07-01 11:00"),
                call("V2", "2024-07-05", "2024-07-05 10:00", "2024-07-05 11:00"),
                call("V3", "2024-07-08 08:00", "", ""),
                call("V4", "2024-07-11 08:00", "2024-07-11 10:00", "2024-07-11 11:00", outcome=""),
                call("V5", "2024-07-14 08:00", "2024-07-14 10:00", "2024-07-14 11:00", call_type="noise"),
                call("V6", "2024-09-14 08:00", "2024-09-14 10:00", "2024-09-14 11:00"),
                call("V7", "2024-10-14 08:00", "2024-10-14 10:00", "2024-10-14 11:00", call_type="turnover"),
                occupancy=[{"equipment_id": "U1", "vacant_from": "2024-09-10", "vacant_to": "2024-09-20"}],
            ),
        )
    )
    assert answer.n_used == 1
    assert dict(answer.excluded) == {
        "calls whose report has no time of day": 1,
        "calls without a time of arrival or finish": 1,
        "calls without an outcome": 1,
        "visits that began with no call for cooling": 1,
        "calls in time taken out (log gaps, empty homes)": 1,
    }


def summer_log(n_priority=12, n_other=24, **tables):
    """Return calls of priority homes that wait 2, 3, 4... hours and of others that wait four times as long."""
    visits, units = [], []
    for k in range(n_priority + n_other):
        first = k < n_priority
        tag, hours = f"{'P' if first else 'O'}{k}", (2 + k if first else 4 * (2 + k - n_priority))
        units.append(unit(tag, apartment=tag, priority_home="yes" if first else "no", building="1" if k % 2 else "2"))
        start = dt.datetime(2024, 7, 1, 8, 5) + dt.timedelta(days=k)  # no end at midnight sharp
        end = start + dt.timedelta(hours=hours)
        visits.append(call(f"V{k}", f"{start:%Y-%m-%d %H:%M}", "", f"{end:%Y-%m-%d %H:%M}", tag, indoor_f=79 + k % 10))
    return log_of(*visits, units=units, **tables)


def test_priority_homes_stand_first_and_are_compared(tmp_path):
    answer = measure_waits(histories_of(tmp_path, **summer_log()))
    table = answer.to_frame()
    assert list(table.columns) == [column.name for column in COLUMNS]
    assert table["homes"].tolist() == ["priority", "other", "all"]
    first, other, whole = (table.iloc[k] for k in range(3))
    assert (first["calls"], other["calls"], whole["calls"]) == (12, 24, 36)
    hours = np.arange(2.0, 14.0)
    assert first["median_hours"] == 7.0
    assert first["mean_hours"] == pytest.approx(hours.mean())
    assert first["hours"] == hours.sum()
    assert other["median_hours"] == 52.0
    assert first["longer"] == pytest.approx(7.0 - 52.0)
    assert first["longer_low"] < first["longer"] < first["longer_high"] < 0
    assert first["mean_longer"] == pytest.approx(hours.mean() - other["mean_hours"])
    assert other[["longer", "mean_longer"]].isna().all()


def test_temperatures_found(tmp_path):
    whole = measure_waits(histories_of(tmp_path, **summer_log())).table.iloc[2]
    found = 79 + np.arange(36) % 10
    assert (whole["readings"], whole["indoor_f"]) == (36, np.median(found))
    k = int((found > 85).sum())
    exact = clopper_pearson(k, 36)
    assert whole["over_85"] == pytest.approx(k / 36)
    assert (whole["over_85_low"], whole["over_85_high"]) == (pytest.approx(exact.low), pytest.approx(exact.high))
    assert whole["over_80"] == pytest.approx((found > 80).mean())


def test_groups_have_rows_of_their_own(tmp_path):
    built = histories_of(tmp_path, **summer_log())
    table = measure_waits(built, by=["building"]).to_frame()
    assert table.columns[0] == "building"
    assert table.groupby("building")["homes"].apply(list).to_dict() == {b: ["priority", "other", "all"] for b in "12"}
    assert table.loc[table["homes"] == "all", "calls"].sum() == 36
    months = measure_waits(built, by=["property", "month"]).to_frame()
    assert set(months["month"]) == {"2024-07", "2024-08"}
    assert set(months["property"]) == {"Oak Row"}
    assert "property" in measure_waits(built, by=["property"]).table.columns


def test_few_calls_make_no_median_and_no_comparison(tmp_path):
    table = measure_waits(histories_of(tmp_path, **summer_log(n_priority=3))).to_frame()
    first = table.iloc[0]
    assert first[["median_hours", "mean_hours", "longer", "mean_longer"]].isna().all()
    assert first["hours"] == 9.0
    assert "only 3 waits, so no median" in first["note"]
    assert "under 10 calls of priority homes" in first["note"]


def test_without_marked_homes_there_is_one_row_and_a_word_on_it(tmp_path):
    answer = measure_waits(histories_of(tmp_path, **summer_log(n_priority=0)))
    assert answer.table["homes"].tolist() == ["all"]
    assert "No home is marked" in answer.notes[0]


def test_unfinished_waits_are_not_dropped(tmp_path):
    log = summer_log(n_priority=0)
    for row in log["visits"][12:]:
        row["outcome"] = "temporary"
    answer = measure_waits(histories_of(tmp_path, **log))
    row = answer.table.iloc[0]
    assert (row["calls"], row["unfinished"]) == (24, 12)
    assert row["median_hours"] == 52.0  # twelve of twenty-four ended, the twelfth after 4 times 13 hours
    assert np.isnan(row["high"])
    assert any("the median lies between" in note or "or more" in note for note in answer.notes)


def test_hours_on_hot_days_are_split_at_midnight(tmp_path):
    days = pd.date_range("2024-06-25", "2024-08-31")
    weather = [
        {"property": "Oak Row", "date": f"{d:%Y-%m-%d}", "high_f": 95 if d.day == 2 else 85, "low_f": 70} for d in days
    ]
    long_wait = call("V1", "2024-07-01 20:00", "", "2024-07-03 01:00")
    table = measure_waits(histories_of(tmp_path, **log_of(long_wait, weather=weather))).table
    assert (table.iloc[0]["hours"], table.iloc[0]["hot_hours"]) == (29.0, 24.0)


def test_unknown_weather_is_blank(tmp_path):
    row = measure_waits(
        histories_of(tmp_path, **log_of(call("V1", "2024-07-01 08:00", "", "2024-07-01 10:00")))
    ).table.iloc[0]
    assert np.isnan(row["hot_hours"])
    assert "the weather of 1 wait isn't known" in row["note"]


@pytest.mark.parametrize("asked", [{"by": ["shoe size"]}, {"cap_hours": 0.0}, {"level": 1.0}])
def test_senseless_questions_are_refused(tmp_path, asked):
    with pytest.raises(AnalysisError):
        measure_waits(one_visit(tmp_path), **asked)


@pytest.mark.parametrize("ask", [measure_waits, count_part_waits, list_home_waits])
def test_a_log_without_times_says_what_to_write_down(tmp_path, ask):
    answer = ask(one_visit(tmp_path))
    assert answer.table.empty
    assert "write both down" in answer.notes[0]


@pytest.mark.parametrize("ask", [measure_waits, list_home_waits])
def test_people_come_with_cautions(tmp_path, ask):
    assert any("emergency services" in note for note in ask(histories_of(tmp_path, **summer_log())).notes)


def parts_log():
    """Return six waits for fan motors of 24 to 144 hours, one still on, and ten calls for a thermostat without any."""
    visits, units = [], []
    for k in range(17):
        tag, start = f"U{k}", dt.datetime(2024, 6, 1, 8) + dt.timedelta(days=2 * k)
        units.append(unit(tag, apartment=tag, priority_home="yes" if k == 0 else "no"))
        waits, finding = k < 7, "fan motor" if k < 7 else "thermostat"
        end = start + dt.timedelta(hours=2)
        outcome = "waiting for part" if waits else "cooling restored"
        visits.append(call(f"V{k}", f"{start:%Y-%m-%d %H:%M}", "", f"{end:%Y-%m-%d %H:%M}", tag, finding=finding,
                           outcome=outcome))  # fmt: skip
        if k < 6:
            back = f"{end + dt.timedelta(hours=24 * (k + 1)):%Y-%m-%d %H:%M}"
            again = f"{end + dt.timedelta(hours=24 * (k + 1) + 1):%Y-%m-%d %H:%M}"
            visits.append(call(f"W{k}", back, back, again, tag, finding=finding, call_type="follow-up"))
    return log_of(*visits, units=units)


def test_parts_awaited_by_component(tmp_path):
    answer = count_part_waits(histories_of(tmp_path, as_of=dt.date(2024, 7, 10), **parts_log()))
    assert list(answer.table.columns) == [column.name for column in PART_COLUMNS]
    rows = answer.to_frame().set_index("component")
    assert rows.index.tolist() == ["", "fan motor"]
    fan = rows.loc["fan motor"]
    assert (fan["calls"], fan["waited"], fan["share"], fan["priority_waited"]) == (7, 7, 1.0, 1)
    # the seventh, of 13 June 10:00, is still on at the end of 10 July: longer than the others
    assert fan["hours"] == sum(24 * k for k in range(1, 7)) + 27 * 24 + 14
    assert fan["median_hours"] == 96.0
    assert rows.loc["", "share"] == pytest.approx(7 / 17)
    assert 0.5 < fan["share_of_hours"] < 1.0


def test_a_log_where_nothing_was_awaited(tmp_path):
    answer = count_part_waits(histories_of(tmp_path, **summer_log()))
    assert answer.table["component"].tolist() == [""]
    assert answer.notes[0] == "None of 36 calls for cooling was left waiting for a part."


def test_homes_in_order_of_need(tmp_path):
    log = summer_log(n_priority=2, n_other=3)
    last = call("VX", "2024-12-30 08:00", "", "2024-12-30 09:00", "O4", outcome="waiting for part")
    log["visits"] = (*log["visits"], last)
    answer = list_home_waits(histories_of(tmp_path, **log))
    table = answer.to_frame()
    assert list(table.columns) == [column.name for column in HOME_COLUMNS]
    # who waits for a part now, then priority homes, then by hours
    assert table["apartment"].tolist() == ["O4", "P1", "P0", "O3", "O2"]
    waiting = table.iloc[0]
    assert (waiting["waiting_now"], waiting["calls"], waiting["unfinished"]) == ("yes", 2, 1)
    assert waiting["hours"] == 16.0 + 40.0
    assert waiting["hours_per_call"] == 28.0
    assert waiting["longest_hours"] == 40.0
    assert waiting["last_on"] == dt.date(2024, 12, 30)
    assert waiting["years"] == pytest.approx(366 / 365.25)
    assert waiting["hours_per_year"] == pytest.approx(56 / (366 / 365.25))
    assert answer.notes[0].startswith("1 home waits for a part now")


def test_a_home_keeps_its_history_when_its_unit_is_changed(tmp_path):
    units = [unit("OLD", apartment="7", retired_on="2024-07-10"), unit("NEW", apartment="7", installed_on="2024-07-11")]
    visits = [
        call("V1", "2024-07-01 08:00", "", "2024-07-01 10:00", "OLD"),
        call("V2", "2024-07-20 08:00", "", "2024-07-20 11:00", "NEW"),
    ]
    table = list_home_waits(histories_of(tmp_path, **log_of(*visits, units=units))).table
    assert len(table) == 1
    assert (table.iloc[0]["equipment_id"], table.iloc[0]["hours"]) == ("NEW, OLD", 5.0)


def test_no_wait_has_a_curve_of_nothing():
    nothing = summarise_waits([], [], cap=100.0)
    assert np.isnan([nothing.median, nothing.low, nothing.high, nothing.p90, nothing.mean]).all()
    open_ones = summarise_waits([5.0] * 9, [False] * 9, cap=100.0)
    assert np.isnan(open_ones.median)


def test_a_mean_without_an_end_is_blank_and_one_hardly_touched_by_it_is_given():
    hours, done = np.arange(1.0, 41.0), np.ones(40, dtype=bool)
    done[-1] = False
    # one in forty is open at 40 hours: to 60 hours it could add half an hour to a mean of twenty
    assert summarise_waits(hours, done, cap=60.0).mean == pytest.approx((np.arange(1.0, 40.0).sum() + 60.0) / 40)
    assert np.isnan(summarise_waits(hours, done, cap=600.0).mean)


def test_comparisons_of_equals_hold_zero():
    waits = summarise_waits(np.arange(1.0, 31.0), np.ones(30, dtype=bool), cap=100.0)
    for difference, low, high in (compare_medians(waits, waits), compare_means(waits, waits)):
        assert difference == 0.0
        assert low < 0 < high


def test_medians_are_covered_as_often_as_promised():
    # 400 sets of 40 waits, a third cut short by chance: the true median lies in nine of ten intervals
    rng, inside = np.random.default_rng(11), []
    for _ in range(400):
        true, cut = rng.exponential(10.0, 40), rng.exponential(20.0, 40)
        found = summarise_waits(np.minimum(true, cut) + 1e-9, true <= cut, cap=200.0)
        inside.append(found.low <= 10.0 * np.log(2) and not found.high < 10.0 * np.log(2))
    assert 0.86 <= np.mean(inside) <= 0.95


def test_midnight_sharp_is_a_day_without_a_time(tmp_path):
    found = calls_of(tmp_path, call("V1", "2024-07-01 08:00", "2024-07-01 10:00", "2024-07-02 00:00"))
    assert (found.iloc[0]["state"], found.iloc[0]["hours"]) == ("finish unknown", 2.0)


def test_a_call_for_cooling_after_another_complaint_is_a_call_of_its_own(tmp_path):
    noise = call("V1", "2024-07-01 08:00", "", "2024-07-01 10:00", call_type="noise", outcome="waiting for part")
    found = calls_of(tmp_path, noise, call("V2", "2024-07-02 08:00", "", "2024-07-02 10:00"))
    assert found["use"].tolist() == ["visits that began with no call for cooling", "yes"]
    assert found.iloc[1]["hours"] == 2.0


def test_a_visit_that_begins_before_the_last_one_ended_adds_no_negative_hours(tmp_path):
    early = call("V2", "2024-07-01 10:30", "2024-07-01 10:30", "2024-07-01 12:00", call_type="follow-up")
    row = calls_of(tmp_path, FIRST, early).iloc[0]
    assert (row["hours"], row["part_hours"]) == (4.0, 0.0)
