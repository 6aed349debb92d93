"""A single visits sheet: one CSV that carries equipment, readings and parts in the rows of its visits."""

import csv
import datetime as dt
import io

import pytest
from small_logs import unit, visit, write_log

from fleet.ingest.load import load_log, rebuild
from fleet.ingest.report import records_frame
from fleet.store.snapshots import Store

SHEET = """\
visit_id,unit,reported_at,building,model_family,herm_uf,fan_uf,installed_on,finding,labor_cost,herm_found_uf,fan_found_uf,\
herm_left_uf,meter,part_no,part_component,part_quantity,part_cost,part_why,part_lot
V1,U1,2024-06-01,1,A,40,5,2015-03-01,run capacitor,60,0,4.9,40.1,M7,C405,Dual Cap,1,12.50,failed,24W10
V1,U1,2024-06-01,,,,,,,60,,,,,K1,contactor,,18.00,preventive,
V2,U1,2024-07-01,1,A,,,,contactor,45,,,,,,,,,,
V3,U2,2024-07-02,2,,,,,no fault found,30,,,,,,,,,,
"""


@pytest.fixture
def sheet(tmp_path):
    return Sheets(tmp_path)


class Sheets:
    """A store into which one sheet after another is loaded."""

    def __init__(self, folder):
        self.folder, self.store, self.n = folder, Store(folder / "store"), 0

    def load(self, text, **tables):
        self.n += 1
        log = write_log(self.folder / f"log{self.n}", **tables)
        (log / "visits.csv").write_text(text, encoding="utf-8")
        return load_log(log, self.store, loaded_on=dt.date(2025, 1, 1))

    def ask(self, sql):
        with self.store.open() as database:
            return database.rows(sql)

    def records(self, standing):
        with self.store.open() as database:
            frame = records_frame(database, standing)
        return [(row.table_name, row.record, row.reason) for row in frame.itertuples()]


def changed(*changes):
    """Return the example sheet with (row, column, value) put in; rows count from 0."""
    rows = list(csv.DictReader(io.StringIO(SHEET)))
    for row, column, value in changes:
        rows[row][column] = value
    stream = io.StringIO()
    writer = csv.DictWriter(stream, rows[0].keys(), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()


VISITS = "select visit_id, finding, labor_cost::int from log.clean.visit order by visit_id"
PARTS = "select visit_id, part_no, component, quantity, unit_cost::float, why, lot from log.clean.part order by part_no"


def test_a_visit_with_two_parts_takes_two_rows_and_its_money_counts_once(sheet):
    report = sheet.load(SHEET)
    account = report.accounts[0]
    assert (account.records, account.clean, account.duplicate) == (4, 4, 0)
    assert sheet.ask(VISITS) == [("V1", "run capacitor", 60), ("V2", "contactor", 45), ("V3", "no fault found", 30)]
    assert sheet.ask(PARTS) == [
        ("V1", "C405", "run capacitor", 1, 12.5, "failed", "24W10"),
        ("V1", "K1", "contactor", 1, 18, "preventive", None),
    ]


def test_readings_come_out_of_their_columns(sheet):
    sheet.load(SHEET)
    assert sheet.ask(
        "select visit_id, component, stage, value_uf, meter, sense, rated_uf from log.clean.reading "
        "order by component desc, stage"
    ) == [
        ("V1", "herm", "found", 0, "M7", "open", 40),
        ("V1", "herm", "left", 40.1, "M7", "ok", 40),
        ("V1", "fan", "found", 4.9, "M7", "ok", 5),
    ]


def test_equipment_comes_out_of_its_columns(sheet):
    report = sheet.load(SHEET)
    assert sheet.ask(
        "select equipment_id, building, model_family, herm_uf, installed_on::varchar from log.clean.equipment"
    ) == [
        ("U1", "1", "A", 40, "2015-03-01"),  # the blank cells of V2 agree with the values of V1
        ("U2", "2", None, None, None),
    ]  # fmt: skip
    assert "no equipment table came: units never visited are missing, so rates read high" in report.remarks


def test_an_equipment_table_wins_over_the_sheet(sheet):
    sheet.load(SHEET, equipment=[unit("U1", model_family="Z")])
    assert sheet.ask("select equipment_id, model_family from log.clean.equipment order by 1") == [
        ("U1", "Z"),
        ("U2", None),
    ]


def test_the_last_value_wins_where_rows_differ(sheet):
    report = sheet.load(changed((1, "labor_cost", "75")))
    # the first row says 60, the later one 75: a correction, and the part of the older version goes with it
    assert sheet.ask(VISITS)[0] == ("V1", "run capacitor", 75)
    assert sheet.records("duplicate") == [("visits", 2, "older_version")]
    assert [row[1] for row in sheet.ask(PARTS)] == ["K1"]
    assert report.accounts[0].balanced


def test_the_same_row_again_is_a_duplicate_and_no_second_part(sheet):
    twice = SHEET.splitlines()
    sheet.load("\n".join([*twice, twice[2]]) + "\n")
    assert sheet.records("duplicate") == [("visits", 6, "same_row")]
    assert len(sheet.ask(PARTS)) == 2


def test_a_later_sheet_replaces_the_visit_and_its_parts(sheet):
    sheet.load(SHEET)
    later = changed((0, "part_no", "C999"), (0, "labor_cost", "70"), (1, "part_no", ""), (1, "labor_cost", "70"),
                    (1, "part_component", ""), (1, "part_cost", ""), (1, "part_why", ""))  # fmt: skip
    report = sheet.load(later)
    assert sheet.ask(VISITS)[0] == ("V1", "run capacitor", 70)
    assert [row[1] for row in sheet.ask(PARTS)] == ["C999"]
    first, second = report.accounts
    # V1's two rows are older versions; V2 and V3 came again as they were, the older of each pair is the duplicate
    assert (first.records, first.clean, first.duplicate) == (4, 0, 4)
    assert (second.records, second.clean, second.duplicate) == (4, 4, 0)


def test_a_later_sheet_without_parts_takes_them_away(sheet):
    sheet.load(SHEET)
    head, *rows = SHEET.splitlines()
    sheet.load(f"{head}\nV1,U1,2024-06-01,1,A,40,5,2015-03-01,thermostat,60,,,,,,,,,,\n{rows[2]}\n")
    assert sheet.ask(PARTS) == []
    assert sheet.ask("select count(*) from log.clean.reading") == [(0,)]


def test_a_refused_visit_takes_its_further_rows_along(sheet):
    report = sheet.load(changed((0, "reported_at", "2026-01-01"), (1, "reported_at", "2026-01-01")))
    assert [row for row in sheet.records("quarantined") if row[0] == "visits"] == [
        ("visits", 2, "reported_in_future"), ("visits", 3, "reported_in_future"),
    ]  # fmt: skip
    assert sheet.ask(PARTS) == []
    assert report.accounts[0].quarantined == 2


def test_a_bad_cell_refuses_its_record_by_name(sheet):
    sheet.load(changed((1, "part_cost", "dear"), (3, "herm_found_uf", "low")))
    assert sheet.records("quarantined") == [
        ("visits", 3, "part_cost_not_money"),
        ("visits", 5, "herm_found_uf_not_a_number"),
    ]


def test_a_visit_id_is_made_of_visit_columns_only(sheet):
    text = changed()
    lines = [line.split(",") for line in text.splitlines()]
    for row in lines[1:3]:
        row[8] = "run capacitor"  # made ids agree only where every visit column does
    sheet.load("\n".join(",".join(line[1:]) for line in lines) + "\n")
    assert sheet.ask("select count(*) from log.clean.visit") == [(3,)]
    assert sheet.ask("select count(*), count(distinct visit_id) from log.clean.part") == [(2, 1)]


def test_a_rebuild_gives_the_same(sheet):
    sheet.load(SHEET)
    asked = [
        VISITS,
        PARTS,
        "select * from log.clean.equipment order by all",
        "select * from log.clean.reading order by all",
    ]
    before = [sheet.ask(sql) for sql in asked]
    rebuild(sheet.store)
    assert [sheet.ask(sql) for sql in asked] == before


def test_a_single_unit_column_is_enough_to_be_a_sheet(tmp_path):
    log = write_log(tmp_path / "log", visits=[visit("V1", "U1", "2024-06-01", building="7")])
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=dt.date(2025, 1, 1))
    with store.open() as database:
        assert database.rows("select building from log.clean.visit") == [("7",)]
