"""Which of several records with one key counts: corrections, duplicates, sets of readings and parts."""

import datetime as dt

import pytest
from small_logs import unit, visit, write_log

from fleet.ingest.load import load_log
from fleet.ingest.records import list_records
from fleet.ingest.report import records_frame
from fleet.store.snapshots import Store


@pytest.fixture
def log(tmp_path):
    return Growing(tmp_path)


class Growing:
    """A store that is loaded again and again, each time from a folder of its own."""

    def __init__(self, folder):
        self.folder, self.store, self.n = folder, Store(folder / "store"), 0

    def load(self, **tables):
        self.n += 1
        log = write_log(self.folder / f"log{self.n}", **tables)
        return load_log(log, self.store, loaded_on=dt.date(2025, 1, 1))

    def ask(self, sql):
        with self.store.open() as database:
            return database.rows(sql)

    def records(self, standing):
        with self.store.open() as database:
            frame = records_frame(database, standing)
        return [(row.source, row.record, row.reason) for row in frame.itertuples()]


def call(key="V1", day="2024-06-01", **cells):
    return visit(key, "U1", day, **cells)


def part(key="V1", **cells):
    return {"visit_id": key, "component": "contactor", **cells}


FIND = "select visit_id, finding from log.clean.visit order by visit_id"


def test_the_same_row_twice_is_one_visit_and_one_duplicate(log):
    report = log.load(equipment=[unit("U1")], visits=[call(), call()])
    assert log.records("duplicate") == [("visits.csv", 2, "same_row")]
    assert report.total("clean") == 2  # the visit and its unit


def test_within_a_file_the_later_row_is_the_correction(log):
    log.load(equipment=[unit("U1")], visits=[call(finding="contactor"), call(finding="fan motor")])
    assert log.ask(FIND) == [("V1", "fan motor")]
    assert log.records("duplicate") == [("visits.csv", 2, "older_version")]


def test_the_later_file_is_the_correction_and_the_older_version_is_kept(log):
    log.load(equipment=[unit("U1")], visits=[call(finding="contactor")])
    report = log.load(visits=[call(finding="fan motor"), call("V2")])
    assert log.ask(FIND) == [("V1", "fan motor"), ("V2", None)]
    older = list_records(log.store, "duplicate")
    assert (older.source[0], older.record[0], older.reason[0]) == ("visits.csv", 2, "older_version")
    assert '"finding":"contactor"' in older.text[0]
    assert [account.balanced for account in report.accounts] == [True, True, True]


def test_a_second_load_needs_no_visits(log):
    log.load(equipment=[unit("U1")], visits=[call()])
    assert log.load(equipment=[unit("U1", tons=2)]).loaded
    assert log.ask("select tons from log.clean.equipment") == [(2,)]


def test_a_refused_correction_never_displaces_a_good_record(log):
    log.load(equipment=[unit("U1")], visits=[call(labor_cost="10")])
    log.load(visits=[call(labor_cost="ten")])
    assert log.ask("select labor_cost::int from log.clean.visit") == [(10,)]
    assert log.records("quarantined") == [("visits.csv", 2, "labor_cost_not_money")]
    assert log.records("duplicate") == []


def test_a_refused_record_that_comes_again_corrected_takes_its_place(log):
    log.load(equipment=[unit("U1")], visits=[call(labor_cost="ten")], parts_used=[part()])
    assert log.ask("select count(*) from log.clean.part") == [(0,)]  # it goes where its visit goes
    log.load(visits=[call(labor_cost="10")])
    assert log.ask("select labor_cost::int from log.clean.visit") == [(10,)]
    assert log.records("quarantined") == []
    assert log.records("duplicate") == [("visits.csv", 2, "older_version")]
    assert log.ask("select count(*) from log.clean.part") == [(1,)]  # and comes back with it


def test_two_refused_versions_leave_one_refused(log):
    log.load(equipment=[unit("U1")], visits=[call("V0"), call(labor_cost="ten"), call(labor_cost="eleven")])
    assert log.records("quarantined") == [("visits.csv", 4, "labor_cost_not_money")]
    assert log.records("duplicate") == [("visits.csv", 3, "older_version")]


def test_parts_of_a_visit_in_a_later_file_replace_the_earlier_set(log):
    log.load(equipment=[unit("U1")], visits=[call()], parts_used=[part(part_no="A"), part(part_no="B")])
    log.load(parts_used=[part(part_no="B"), part(part_no="C")])
    assert log.ask("select part_no from log.clean.part order by part_no") == [("B",), ("C",)]
    assert log.records("duplicate") == [("parts_used.csv", 2, "older_version"), ("parts_used.csv", 3, "same_row")]


def test_readings_of_a_visit_in_a_later_file_replace_the_earlier_set(log):
    first = [{"visit_id": key, "component": "herm", "value": 38} for key in ("V1", "V2")]
    log.load(equipment=[unit("U1")], visits=[call(), call("V2")], readings=first)
    log.load(readings=[{"visit_id": "V1", "component": "herm", "value": 37}])
    assert log.ask("select visit_id, value_uf from log.clean.reading order by visit_id") == [("V1", 37), ("V2", 38)]


def test_within_a_file_all_differing_parts_count_and_equal_ones_once(log):
    log.load(
        equipment=[unit("U1")], visits=[call()], parts_used=[part(part_no="A"), part(part_no="B"), part(part_no="A")]
    )
    assert log.ask("select part_no from log.clean.part order by part_no") == [("A",), ("B",)]
    assert log.records("duplicate") == [("parts_used.csv", 4, "same_row")]


@pytest.mark.parametrize(
    ("table", "old", "new", "ask", "answer"),
    [
        ("equipment", unit("U1"), unit("U1", tons=3), "select tons from log.clean.equipment", [(3,)]),
        (
            "catalogue", {"part_no": "A", "component": "contactor", "unit_cost": 9},
            {"part_no": "A", "component": "contactor", "unit_cost": 11},
            "select unit_cost::int from log.clean.catalogue", [(11,)],
        ),
        (
            "stock", {"location": "shop", "part_no": "A", "on_hand": 1},
            {"location": "shop", "part_no": "A", "on_hand": 2},
            "select on_hand from log.clean.stock", [(2,)],
        ),
        (
            "weather", {"date": "2024-06-01", "high_f": 90, "low_f": 70},
            {"date": "2024-06-01", "high_f": 91, "low_f": 70},
            "select high_f from log.clean.weather", [(91,)],
        ),
        (
            "buildings", {"building": "1", "walk_order": 1}, {"building": "1", "walk_order": 2},
            "select walk_order from log.clean.building", [(2,)],
        ),
        (
            "properties", {"property": "Oak Row", "currency": "USD"}, {"property": "Oak Row", "currency": "EUR"},
            "select currency from log.clean.property", [("EUR",)],
        ),
    ],
)  # fmt: skip
def test_other_tables_are_corrected_by_their_key(log, table, old, new, ask, answer):
    tables = {"equipment": [unit("U1")], "visits": [call()], table: [old]}
    log.load(**tables)
    log.load(**{table: [new]})
    assert log.ask(ask) == answer


def test_coverage_that_comes_twice_is_one(log):
    row = {"property": "Oak Row", "from_date": "2024-01-01", "to_date": "2024-12-31"}
    log.load(equipment=[unit("U1")], visits=[call()], coverage=[row])
    log.load(coverage=[row])
    assert log.ask("select count(*) from log.clean.coverage") == [(1,)]


def test_a_visit_without_an_id_is_the_same_visit_when_it_comes_again(log):
    row = {"equipment_id": "U1", "reported_at": "2024-06-01", "finding": "contactor"}
    log.load(equipment=[unit("U1")], visits=[row, {**row, "finding": "fan motor"}])
    log.load(visits=[row])
    assert log.ask("select count(*), count(distinct visit_id) from log.clean.visit") == [(2, 2)]


def test_rows_of_a_totals_line_in_parts_are_blank(log):
    log.load(equipment=[unit("U1")], visits=[call()], parts_used=[part(), part("Total", component="")])
    assert log.records("blank") == [("parts_used.csv", 3, "totals row")]
