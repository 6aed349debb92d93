import csv
import datetime as dt

import pytest
from small_logs import unit, visit, write_log

from fleet.errors import SourceError
from fleet.ingest import raw
from fleet.ingest.load import LoadOptions, load_log
from fleet.ingest.records import list_records
from fleet.store.snapshots import Store


def load(folder, days, *, dates=None):
    log = write_log(
        folder / "log", equipment=[unit("U1")], visits=[visit(f"V{i}", "U1", day) for i, day in enumerate(days)]
    )
    store = Store(folder / "store")
    report = load_log(log, store, loaded_on=dt.date(2030, 1, 1), options=LoadOptions(dates=dates))
    with store.open() as database:
        rows = database.rows("select reported_at from log.clean.visit order by place")
    return [row[0] for row in rows], report, list_records(store, "quarantined")


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("2024-07-03", dt.datetime(2024, 7, 3)),
        ("2024-07-03 14:05", dt.datetime(2024, 7, 3, 14, 5)),
        ("2024-07-03T14:05:10", dt.datetime(2024, 7, 3, 14, 5, 10)),
        ("2024-07-03T14:05:10-05:00", dt.datetime(2024, 7, 3, 14, 5, 10)),  # the clock on the wall
        ("2024-07-03 02:05 PM", dt.datetime(2024, 7, 3, 14, 5)),
        ("2024/7/3", dt.datetime(2024, 7, 3)),
        ("7/30/2024", dt.datetime(2024, 7, 30)),
        ("7/30/24 2:05 PM", dt.datetime(2024, 7, 30, 14, 5)),
        ("30.07.2024 14:05", dt.datetime(2024, 7, 30, 14, 5)),
        ("30-7-24", dt.datetime(2024, 7, 30)),
        ("3 Jul 2024", dt.datetime(2024, 7, 3)),
        ("July 3, 2024 14:05", dt.datetime(2024, 7, 3, 14, 5)),
        ("Wednesday, July 3rd, 2024 at 2:05 p.m.", dt.datetime(2024, 7, 3, 14, 5)),
        ("Tue 07/30/2024 14.05", dt.datetime(2024, 7, 30, 14, 5)),
        ("20240703T1405", dt.datetime(2024, 7, 3, 14, 5)),
        ("2024-07-02 24:00", dt.datetime(2024, 7, 3)),
        ("03-Jul-24", dt.datetime(2024, 7, 3)),
        # 45476 days after 30 December 1899 is 3 July 2024 (ECMA-376 part 1, 18.17.4.1: serial 1 is 1 January 1900)
        ("45476", dt.datetime(2024, 7, 3)),
        ("45476.5", dt.datetime(2024, 7, 3, 12)),
    ],
)
def test_every_way_to_write_a_day(tmp_path, written, meant):
    assert load(tmp_path, [written])[0] == [meant]


@pytest.mark.parametrize("written", ["2024-02-30", "31/31/2024", "soon", "24:00", "1"])
def test_what_is_no_date_is_quarantined_by_name(tmp_path, written):
    _, report, refused = load(tmp_path, ["2024-07-03", written], dates="mdy")
    assert report.reasons == (("visits", "quarantined", "reported_at_not_a_date", 1),)
    assert (refused.source[0], refused.record[0]) == ("visits.csv", 3)
    assert f'"reported_at":"{written}"' in refused.text[0]


def test_one_value_settles_the_whole_column_and_it_is_said(tmp_path):
    days, report, _ = load(tmp_path, ["03/04/2024", "05/06/2024", "25/12/2024"])
    assert days[0] == dt.datetime(2024, 4, 3)
    assert "visits.csv: reported_at read as dmy; 1 of 3 values settle it" in report.remarks


def test_weekdays_in_front_settle_it_too(tmp_path):
    days, report, _ = load(tmp_path, ["Wed 03/04/2024", "Thu 25/04/2024", "13/13/2024"])
    assert days == [dt.datetime(2024, 4, 3), dt.datetime(2024, 4, 25)]
    assert "visits.csv: reported_at read as dmy; 1 of 3 values settle it" in report.remarks


def test_where_no_value_settles_it_the_load_stops(tmp_path):
    with pytest.raises(
        SourceError, match=r"visits\.csv: no value of reported_at settles .* --dates mdy or --dates dmy"
    ):
        load(tmp_path, ["03/04/2024", "05/06/2024"])


def test_where_values_speak_for_both_the_load_stops(tmp_path):
    with pytest.raises(SourceError, match=r"only be day/month \(1\) and dates that can only be month/day \(2\)"):
        load(tmp_path, ["13/04/2024", "04/13/2024", "04/14/2024"])


def test_days_that_read_alike_both_ways_settle_nothing_and_stop_nothing(tmp_path):
    assert load(tmp_path, ["03/03/2024", "2024-05-06"])[0] == [dt.datetime(2024, 3, 3), dt.datetime(2024, 5, 6)]


def test_the_option_wins_and_what_doesnt_fit_is_quarantined(tmp_path):
    days, report, refused = load(tmp_path, ["03/04/2024", "04/13/2024", "13/04/2024"], dates="dmy")
    assert days == [dt.datetime(2024, 4, 3), dt.datetime(2024, 4, 13)]
    assert list(refused.record) == [3]
    assert "visits.csv: reported_at read as dmy, as told" in report.remarks


def test_each_file_settles_its_own_order(tmp_path):
    log = write_log(
        tmp_path / "log", equipment=[unit("U1")],
        visits_a=[visit("A1", "U1", "03/04/2024"), visit("A2", "U1", "25/04/2024")],
        visits_b=[visit("B1", "U1", "03/04/2024"), visit("B2", "U1", "04/25/2024")],
    )  # fmt: skip
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=dt.date(2030, 1, 1))
    with store.open() as database:
        rows = database.rows("select visit_id, reported_at::date::varchar from log.clean.visit order by place")
    assert rows == [("A1", "2024-04-03"), ("A2", "2024-04-25"), ("B1", "2024-03-04"), ("B2", "2024-04-25")]


@pytest.mark.parametrize("style", ["%m/%d/%Y %H:%M", "%d/%m/%Y", "%Y-%m-%d"])
def test_a_large_file_is_read_the_same(tmp_path, monkeypatch, style):
    days = [dt.datetime(2023, 1, 1) + dt.timedelta(days=i) for i in range(300)]
    written = [day.strftime(style) for day in days]
    small = load(tmp_path / "small", written)[0]
    monkeypatch.setattr(raw, "LARGE", 100)
    assert load(tmp_path / "large", written)[0] == small == days


def test_a_large_file_with_slashes_only_at_its_end_is_still_settled(tmp_path, monkeypatch):
    monkeypatch.setattr(raw, "LARGE", 100)
    monkeypatch.setattr(raw, "SAMPLE", 20)
    days, report, _ = load(tmp_path, ["2024-01-01"] * 50 + ["12/25/2024"])
    assert days[-1] == dt.datetime(2024, 12, 25)
    assert "visits.csv: reported_at read as mdy; 1 of 1 values settle it" in report.remarks


def test_whether_a_time_of_day_was_written_is_kept(tmp_path):
    log = tmp_path / "log"
    log.mkdir()
    with (log / "visits.csv").open("w", newline="") as stream:
        csv.writer(stream).writerows(
            [["unit", "date"], ["U1", "2024-07-03"], ["U1", "2024-07-03 00:00"], ["U1", "45476.0"]]
        )
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=dt.date(2030, 1, 1))
    with store.open() as database:
        rows = database.rows("select reported_at_has_time from log.clean.visit order by place")
    assert rows == [(False,), (True,), (True,)]
