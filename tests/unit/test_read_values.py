"""Values through a whole load: what a cell says, whatever way it is written, and what is said of it."""

import datetime as dt

import pytest
from small_logs import unit, visit, write_log

from fleet.ingest.load import load_log
from fleet.ingest.report import records_frame
from fleet.store.snapshots import Store

LOADED_ON = dt.date(2025, 1, 1)


class Read:
    def __init__(self, folder, text, name="visits.csv", **tables):
        log = write_log(folder / "log", equipment=[unit("U1"), unit("U2", building="2")], **tables)
        (log / name).write_text(text, encoding="utf-8")
        self.store = Store(folder / "store")
        self.report = load_log(log, self.store, loaded_on=LOADED_ON)

    def ask(self, columns, table="visit", order="1"):
        with self.store.open() as database:
            return database.rows(f"select {columns} from log.clean.{table} order by {order}")

    def said(self, standing="kept"):
        with self.store.open() as database:
            return list(records_frame(database, standing).reason)


def test_a_time_without_a_date_belongs_to_the_day_of_the_report(tmp_path):
    read = Read(
        tmp_path,
        "visit_id,equipment_id,reported_at,arrived_at,finished_at\n"
        "V1,U1,2024-07-01 22:30,23:15,0:40\nV2,U1,2024-07-02,9:15 AM,10:00\nV3,U1,2024-07-03 08:00,2024-07-03 09:00,\n",
    )
    assert read.ask("visit_id, arrived_at::varchar, finished_at::varchar") == [
        ("V1", "2024-07-01 23:15:00", "2024-07-02 00:40:00"),
        ("V2", "2024-07-02 09:15:00", "2024-07-02 10:00:00"),
        ("V3", "2024-07-03 09:00:00", None),
    ]
    assert read.said() == [
        "time_without_date: arrived_at 23:15, finished_at 0:40 on the day of the report",
        "time_without_date: arrived_at 9:15 AM, finished_at 10:00 on the day of the report",
    ]


def test_a_date_and_its_time_in_two_columns_are_one(tmp_path):
    rows = "".join(f"U1,2024-05-0{i},9:1{i},10:00,cap\n" for i in range(1, 7))
    read = Read(tmp_path, "Tag,Date,Time In,Time Out,Found\n" + rows)
    assert read.report.n_quarantined == 0
    assert read.ask("min(arrived_at)::varchar, max(finished_at)::varchar") == [
        ("2024-05-01 09:11:00", "2024-05-06 10:00:00")
    ]


def test_a_call_date_and_a_call_time_are_one(tmp_path):
    read = Read(tmp_path, "unit,call date,call time\n" + "".join(f"U1,07/{i}/2024,2:{i} PM\n" for i in range(13, 19)))
    assert read.ask("min(reported_at)::varchar, bool_and(reported_at_has_time)") == [("2024-07-13 14:13:00", True)]


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("2024-07-01T14:05:00Z", "2024-07-01 14:05:00"), ("2024-07-01 14:05:00-05:00", "2024-07-01 14:05:00"),
        ("2024-07-01 14:05-05", "2024-07-01 14:05:00"),
    ],
)  # fmt: skip
def test_the_wall_clock_as_written_is_kept_and_an_offset_named(tmp_path, written, meant):
    read = Read(tmp_path, f"visit_id,equipment_id,reported_at\nV1,U1,{written}\n")
    assert read.ask("reported_at::varchar") == [(meant,)]
    assert read.said()[0].startswith("offset_dropped: ")


@pytest.mark.parametrize("written", ["2024-07-03 10:00 later", "epoch", "n/a", "24-07-01 junk", "2024-02-30"])
def test_what_is_no_date_is_refused(tmp_path, written):
    read = Read(tmp_path, f"visit_id,equipment_id,reported_at\nV1,U1,{written}\nV2,U1,2024-07-01\n")
    assert [key for (key,) in read.ask("visit_id")] == ["V2"]


HEADER = "visit_id,equipment_id,reported_at,"


@pytest.mark.parametrize(
    ("header", "cell", "column", "meant"),
    [
        ("labor_minutes", "1.5 h", "labor_minutes", 90), ("labor hours", "1.5", "labor_minutes", 90),
        ("labor_minutes", "1:30", "labor_minutes", 90), 
        ("refrigerant_added_oz", "1 lb 6 oz", "refrigerant_added_oz", 22),
        ("refrigerant added (lb)", "1.5", "refrigerant_added_oz", 24), ("indoor_f", "29 C", "indoor_f", 84.2),
        ("indoor temp C", "29", "indoor_f", 84.2), ("labor_cost", "$1,234.50", "labor_cost", 1234.5),
        ("labor_cost", "(25.00)", "labor_cost", -25), ("labor_cost", "n/c", "labor_cost", 0),
        ("labor_cost", "12,50 €", "labor_cost", 12.5), ("labor_minutes", "N/A", "labor_minutes", None),
    ],
)  # fmt: skip
def test_a_quantity_is_read_in_its_unit(tmp_path, header, cell, column, meant):
    read = Read(tmp_path, f'{HEADER}{header}\nV1,U1,2024-07-01,"{cell}"\nV2,U1,2024-07-02,\n')
    found = read.ask(f"{column}::double", order="visit_id")[0][0]
    assert found == meant if meant is None else found == pytest.approx(meant)
    assert read.report.n_quarantined == 0


def test_a_column_of_decimal_commas_is_read_as_one(tmp_path):
    read = Read(
        tmp_path,
        "visit_id;equipment_id;reported_at;labor_cost;labor_minutes\n"
        "V1;U1;2024-07-01;12,50;90\nV2;U1;2024-07-02;1.234;90,5\nV3;U1;2024-07-03;1.234,5;7\nV4;U1;2024-07-04;300;1,250\n",
    )
    assert read.ask("visit_id, labor_cost::double, labor_minutes") == [
        ("V1", 12.5, 90), ("V2", 1234, 90.5), ("V3", 1234.5, 7), ("V4", 300, 1.25),
    ]  # fmt: skip
    assert sum("decimal comma" in said for said in read.report.remarks) == 2
    assert read.report.accounts[-1].balanced


def test_a_column_of_decimal_points_keeps_its_thousands(tmp_path):
    read = Read(
        tmp_path, f'{HEADER}labor_cost\nV1,U1,2024-07-01,"1,234"\nV2,U1,2024-07-02,1.5\nV3,U1,2024-07-03,"$2,000.25"\n'
    )
    assert [cost for (cost,) in read.ask("labor_cost::double", order="visit_id")] == [1234, 1.5, 2000.25]


@pytest.mark.parametrize(
    ("cell", "herm", "fan"),
    [("45/5", 45, 5), ("45+5 MFD 440V", 45, 5), ("45", 45, None), ("44,2uF", 44.2, None), ("45000 nF", 45, None)],
)
def test_a_rating_of_both_sections_is_read_from_one_cell(tmp_path, cell, herm, fan):
    log = write_log(tmp_path / "log", visits=[visit("V1", "U1", "2024-06-01")])
    (log / "equipment.csv").write_text(f'equipment_id,building,capacitor\nU1,1,"{cell}"\n')
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=LOADED_ON)
    with store.open() as database:
        assert database.rows("select herm_uf, fan_uf from log.clean.equipment") == [(herm, fan)]
        said = list(records_frame(database, "kept").reason)
    assert said == (["unit_converted: 45000 nF read as 45 uF"] if "nF" in cell else [])


def test_readings_of_both_sections_are_read_from_one_cell_of_a_sheet(tmp_path):
    log = tmp_path / "log"
    log.mkdir()
    (log / "visits.csv").write_text(
        "visit_id,equipment_id,building,reported_at,herm_uf,herm_found_uf\nV1,U1,1,2024-06-01,45/5,44.2/4.9\n"
    )
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=LOADED_ON)
    with store.open() as database:
        assert database.rows("select component, value_uf from log.clean.reading order by 1") == [
            ("fan", 4.9), ("herm", 44.2),
        ]  # fmt: skip


@pytest.mark.parametrize("written", ["'0012", '=""0012""'])
def test_a_number_kept_as_text_by_a_spreadsheet_is_itself(tmp_path, written):
    log = tmp_path / "log"
    log.mkdir()
    (log / "visits.csv").write_text(f'visit_id,equipment_id,reported_at\nV1,"{written}",2024-06-01\n')
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=LOADED_ON)
    with store.open() as database:
        assert database.rows("select equipment_id from log.clean.visit") == [("0012",)]
