"""A log that grows: corrections keep what they changed, overlaps add only what is new, a load can be taken back."""

import datetime as dt
from contextlib import closing

import pytest
from small_logs import unit, visit, write_log

from fleet.analysis.rates import estimate_rates
from fleet.errors import SourceError, StoreError
from fleet.histories.build import build_histories
from fleet.ingest.changes import list_changes
from fleet.ingest.load import load_log, rebuild, undo_load
from fleet.ingest.loads import loads_table
from fleet.ingest.records import find_records, list_records
from fleet.ingest.report import read_report
from fleet.present.export import as_json
from fleet.store.snapshots import Store

LOADED_ON = dt.date(2025, 1, 1)


class Growing:
    def __init__(self, folder):
        self.folder, self.store, self.n = folder, Store(folder / "store"), 0

    def load(self, **tables):
        self.n += 1
        return load_log(write_log(self.folder / f"log{self.n}", **tables), self.store, loaded_on=LOADED_ON)

    def visits(self):
        with self.store.open() as database:
            return database.rows("select visit_id, finding from log.clean.visit order by 1")

    def answer(self):
        with closing(build_histories(self.store)) as known:
            return as_json(estimate_rates(known))


@pytest.fixture
def log(tmp_path):
    made = Growing(tmp_path)
    made.load(equipment=[unit("U1")], visits=[visit("V1", "U1", "2024-06-01", finding="contactor", labor_cost=10)])
    return made


def test_what_a_correction_changed_is_kept(log):
    log.load(visits=[visit("V1", "U1", "2024-06-01", finding="fan motor", labor_cost=10)])
    (change,) = list_changes(log.store).itertuples(index=False)
    assert (change.table_name, change.key, change.column, change.older, change.newer) == (
        "visits", "V1", "finding", "contactor", "fan motor",
    )  # fmt: skip
    assert (change.older_source, change.older_record) == ("visits.csv", 2)


def test_an_overlapping_export_adds_only_what_is_new(log):
    log.load(
        visits=[visit("V1", "U1", "2024-06-01", finding="contactor", labor_cost=10), visit("V2", "U1", "2024-07-01")]
    )
    assert log.visits() == [("V1", "contactor"), ("V2", None)]
    assert list(list_records(log.store, "duplicate").reason) == ["same_row"]
    assert list_changes(log.store).empty


def test_a_load_taken_back_leaves_what_was_there(log):
    before = log.answer()
    log.load(visits=[visit("V1", "U1", "2024-06-01", finding="fan motor"), visit("V2", "U1", "2024-07-01")])
    assert log.answer() != before
    gone, report = undo_load(log.store)
    assert (gone.number, report.total("clean")) == (2, 2)
    assert log.visits() == [("V1", "contactor")]
    assert log.answer() == before
    # and it can come again
    assert log.load(visits=[visit("V2", "U1", "2024-07-01")]).loaded


def test_an_earlier_load_can_be_taken_back(log):
    log.load(visits=[visit("V2", "U1", "2024-07-01")])
    log.load(visits=[visit("V3", "U1", "2024-08-01")])
    undo_load(log.store, 2)
    assert [key for key, _ in log.visits()] == ["V1", "V3"]
    assert list(loads_table(log.store).number) == [1, 3]
    assert log.load(visits=[visit("V4", "U1", "2024-08-02")]).loaded
    assert list(loads_table(log.store).number) == [1, 3, 4]


def test_the_only_load_taken_back_leaves_nothing(log):
    _, report = undo_load(log.store, forget=True)
    assert report is None
    assert list(log.store.sources.iterdir()) == []
    assert list((log.store.path / "snapshots").iterdir()) == []
    with pytest.raises(StoreError, match="nothing is loaded"):
        log.store.open()
    with pytest.raises(StoreError, match="nothing is loaded"):
        undo_load(log.store)


def test_forgetting_keeps_files_another_load_has(log):
    kept = {file.name for file in log.store.sources.iterdir()}
    log.load(visits=[visit("V2", "U1", "2024-07-01")])
    undo_load(log.store, forget=True)
    assert {file.name for file in log.store.sources.iterdir()} == kept


def test_a_load_that_isnt_there_cant_be_taken_back(log):
    with pytest.raises(StoreError, match=r"there is no load 7 in .*; its loads: 1"):
        undo_load(log.store, 7)


def test_a_load_the_others_rest_on_isnt_taken_back(log):
    log.load(equipment=[unit("U1", tons=2)])
    with pytest.raises(SourceError, match="has no visits"):
        undo_load(log.store, 1)
    assert log.visits() == [("V1", "contactor")]


def test_a_rebuild_gives_the_same_answers_byte_for_byte_and_the_same_account(log):
    (log.folder / "log9").mkdir()
    (log.folder / "log9" / "read me.pdf").write_bytes(b"%PDF")
    (log.folder / "log9" / "visits.csv").write_text(
        "visit_id,equipment_id,reported_at,shoe size\nV5,u-1,06/25/2024,9\nV6,U1,soon,9\n"
    )
    report = load_log(log.folder / "log9", log.store, loaded_on=LOADED_ON)
    answer = log.answer()
    again = rebuild(log.store)
    assert (again.accounts, again.reasons, again.notices, again.remarks) == (
        report.accounts, report.reasons, report.notices, report.remarks,
    )  # fmt: skip
    assert log.answer() == answer


def test_the_account_can_be_read_again(log):
    with log.store.open() as database:
        report = read_report(database, data_version="x", loaded=True)
    assert report.to_dict()["accounts"][0]["source"] == "equipment.csv"


def test_records_are_found_with_their_own_cells(log):
    log.load(visits=[visit("V2", "U1", "soon"), visit("V3", "X9", "06/25/2024", notes='a "b"\nc')])
    found = find_records(log.store, "quarantined")
    assert [(record.source, record.record, record.reason) for record in found] == [
        ("visits.csv", 2, "reported_at_not_a_date"), ("visits.csv", 3, "unknown_unit"),
    ]  # fmt: skip
    assert found[1].cells == ("V3", "X9", "06/25/2024", "no cooling", 'a "b"\nc')
