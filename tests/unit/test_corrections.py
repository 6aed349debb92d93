"""Refused records come back: listed with their own text, corrected, loaded again, each in the refused one's place."""

import csv
import datetime as dt
import io

import pytest
from small_logs import unit, visit, write_log

from fleet.errors import SourceError
from fleet.ingest.load import load_log, rebuild, undo_load
from fleet.ingest.records import find_records, list_records
from fleet.ingest.refused_file import BOOKKEEPING, write_refused
from fleet.ingest.report import records_frame
from fleet.store.snapshots import Store

LOADED_ON = dt.date(2025, 1, 1)


class Log:
    """A store, the file of its refused records, and what became of them when that file came back."""

    def __init__(self, folder):
        self.folder, self.store, self.n = folder, Store(folder / "store"), 0

    def load(self, **tables):
        self.n += 1
        return load_log(write_log(self.folder / f"log{self.n}", **tables), self.store, loaded_on=LOADED_ON)

    def load_text(self, name, text):
        self.n += 1
        log = self.folder / f"log{self.n}"
        log.mkdir()
        (log / name).write_text(text, encoding="utf-8", newline="")
        return load_log(log, self.store, loaded_on=LOADED_ON)

    def refused(self):
        text = write_refused(find_records(self.store, "quarantined"))
        return list(csv.DictReader(io.StringIO(text, newline="")))

    def give_back(self, rows):
        columns = list(dict.fromkeys(name for row in rows for name in row))
        stream = io.StringIO(newline="")
        writer = csv.DictWriter(stream, columns)
        writer.writeheader()
        writer.writerows(rows)
        return self.load_text("refused.csv", stream.getvalue())

    def ask(self, sql):
        with self.store.open() as database:
            return database.rows(sql)

    def standing(self, standing):
        with self.store.open() as database:
            frame = records_frame(database, standing)
        return [(row.source, row.record, row.reason) for row in frame.itertuples()]


@pytest.fixture
def log(tmp_path):
    return Log(tmp_path)


def call(key="V1", day="2024-06-01", **cells):
    return visit(key, "U1", day, **cells)


def test_a_corrected_record_takes_the_refused_ones_place(log):
    first = log.load(equipment=[unit("U1")], visits=[call(labor_cost="ten"), call("V2")])
    assert (first.n_quarantined, first.total("clean")) == (1, 2)
    (row,) = log.refused()
    assert (row["refused_because"], row["refused_from"], row["refused_record"]) == (
        "labor_cost_not_money", "visits.csv", "2",
    )  # fmt: skip
    assert row["labor_cost"] == "ten"
    report = log.give_back([{**row, "labor_cost": "10"}])
    assert report.n_quarantined == 0
    assert log.ask("select visit_id, labor_cost::int from log.clean.visit order by 1") == [("V1", 10), ("V2", None)]
    assert log.standing("duplicate") == [("visits.csv", 2, "older_version")]
    assert all(account.balanced for account in report.accounts)
    assert [(a.source, a.records, a.clean) for a in report.accounts][-1] == ("refused.csv:visits.csv", 1, 1)


def test_a_corrected_record_without_a_visit_id_replaces_the_refused_one_too(log):
    log.load(equipment=[unit("U1")], visits=[{"equipment_id": "U1", "reported_at": "soon"}])
    (row,) = log.refused()
    report = log.give_back([{**row, "reported_at": "2024-06-02"}])
    assert (report.n_quarantined, report.total("duplicate")) == (0, 1)
    assert log.ask("select reported_at::date::varchar from log.clean.visit") == [("2024-06-02",)]


def test_a_rebuild_gives_the_same_account(log):
    log.load(equipment=[unit("U1")], visits=[call(labor_cost="ten"), call("V2")])
    (row,) = log.refused()
    report = log.give_back([{**row, "labor_cost": "10"}])
    again = rebuild(log.store)
    assert (again.accounts, again.reasons, again.remarks) == (report.accounts, report.reasons, report.remarks)


def test_a_record_refused_by_a_later_check_is_listed_with_its_own_text(log):
    log.load(equipment=[unit("U1")], visits=[call(), visit("V2", "X9", "06/25/2024", labor_cost="$1,200")])
    (text,) = list_records(log.store, "quarantined").text
    assert '"reported_at":"06/25/2024"' in text
    assert '"labor_cost":"$1,200"' in text


def test_readings_of_a_refused_visit_come_back_with_it(log):
    log.load(
        equipment=[unit("U1")], visits=[visit("V1", "X9", "2024-06-01"), call("V2")],
        readings=[{"visit_id": "V1", "component": "herm", "value": 44}],
    )  # fmt: skip
    rows = log.refused()
    assert [row["refused_because"] for row in rows] == ["unknown_unit", "visit_quarantined"]
    report = log.give_back([{**rows[0], "equipment_id": "U1"}])
    assert report.n_quarantined == 0
    assert log.ask("select visit_id, value_uf from log.clean.reading") == [("V1", 44.0)]


def test_a_corrected_reading_rejoins_its_visits_set(log):
    log.load(
        equipment=[unit("U1")], visits=[call()],
        readings=[
            {"visit_id": "V1", "component": "herm", "value": "39.0"},
            {"visit_id": "V1", "component": "fan", "value": "4o9"},
        ],
    )  # fmt: skip
    (row,) = log.refused()
    report = log.give_back([{**row, "value": "4.9"}])
    assert report.n_quarantined == 0
    assert log.ask("select component, value_uf from log.clean.reading order by 1") == [("fan", 4.9), ("herm", 39.0)]


def test_a_corrected_line_of_a_sheet_rejoins_its_visit(log):
    cells = {"visit_id": "V1", "equipment_id": "U1", "building": "1", "reported_at": "2024-06-01"}
    log.load(visits=[{**cells, "part_no": "A", "part_cost": "10"}, {**cells, "part_no": "B", "part_cost": "ten"}])
    (row,) = log.refused()
    report = log.give_back([{**row, "part_cost": "12"}])
    assert report.n_quarantined == 0
    assert log.ask("select part_no, unit_cost::int from log.clean.part order by 1") == [("A", 10), ("B", 12)]
    assert log.ask("select count(*) from log.clean.visit") == [(1,)]


def test_a_record_corrected_wrongly_is_refused_once_not_twice(log):
    log.load(equipment=[unit("U1")], visits=[call(labor_cost="ten"), call("V2")])
    (row,) = log.refused()
    report = log.give_back([{**row, "labor_cost": "eleven"}])
    assert report.n_quarantined == 1
    (row,) = log.refused()
    assert (row["refused_from"], row["labor_cost"]) == ("refused.csv:visits.csv", "eleven")
    report = log.give_back([{**row, "labor_cost": "11"}])
    assert (report.n_quarantined, report.total("duplicate")) == (0, 2)
    assert log.ask("select labor_cost::int from log.clean.visit where visit_id = 'V1'") == [(11,)]


def test_the_same_record_corrected_twice_counts_once(log):
    log.load(equipment=[unit("U1")], visits=[call()], readings=[{"visit_id": "V1", "component": "herm", "value": "x"}])
    (row,) = log.refused()
    log.give_back([{**row, "value": "44"}])
    report = log.give_back([{**row, "value": "45"}])
    assert log.ask("select value_uf from log.clean.reading") == [(45.0,)]
    assert all(account.balanced for account in report.accounts)


def test_a_line_that_couldnt_be_split_comes_back_as_text_or_as_cells(log):
    text = "visit_id,equipment_id,reported_at,notes\nV1,U1,2024-06-01,a,b\nV2,U1\nV3,U1,2024-06-03,fine\n"
    log.load_text("visits.csv", text)
    many, few = log.refused()
    assert (many["refused_because"], many["refused_text"]) == ("too_many_fields", "V1,U1,2024-06-01,a,b")
    many["refused_text"] = 'V1,U1,2024-06-01,"a,b"'
    few |= {"visit_id": "V2", "equipment_id": "U1", "reported_at": "2024-06-02"}
    report = log.give_back([many, few])
    assert report.n_quarantined == 0
    assert log.ask("select visit_id, notes from log.clean.visit order by 1") == [
        ("V1", "a,b"), ("V2", None), ("V3", "fine"),
    ]  # fmt: skip


@pytest.mark.parametrize("notes", ["=1+1", "-see note", "+1 555", "@home", "'tis", "''", "-12.50", "\tx", 'a,b\n"c"'])
def test_the_guard_mark_goes_on_and_comes_off(log, notes):
    log.load(equipment=[unit("U1")], visits=[call(labor_cost="ten", notes=notes), call("V2")])
    (row,) = log.refused()
    assert not row["notes"].startswith(("=", "+", "@", "\t"))
    assert row["notes"] == notes if notes == "-12.50" else not row["notes"].startswith("-")
    log.give_back([{**row, "labor_cost": "10"}])
    kept = log.ask("select notes from log.clean.visit where visit_id = 'V1'")[0][0]
    assert kept == (notes.strip(" ") or None)


def test_dates_are_read_in_the_order_of_the_file_they_came_from(log):
    log.load(equipment=[unit("U1")], visits=[call(day="25/06/2024"), call("V2", "03/04/2024", labor_cost="ten")])
    (row,) = log.refused()
    log.give_back([{**row, "labor_cost": "10"}])
    assert log.ask("select reported_at::date::varchar from log.clean.visit order by visit_id")[1] == ("2024-04-03",)


def test_a_file_of_refused_records_loads_into_another_store_by_its_headers(log, tmp_path):
    log.load(equipment=[unit("U1")], visits=[call(labor_cost="ten"), call("V2")])
    (row,) = log.refused()
    other = Log(tmp_path / "other")
    (tmp_path / "other").mkdir()
    other.load(equipment=[unit("U1")], visits=[call("V7")])
    report = other.give_back([{**row, "labor_cost": "10"}])
    assert report.n_quarantined == 0
    assert other.ask("select visit_id from log.clean.visit order by 1") == [("V1",), ("V7",)]


def test_a_table_name_that_was_changed_is_an_error(log):
    log.load(equipment=[unit("U1")], visits=[call(labor_cost="ten"), call("V2")])
    (row,) = log.refused()
    with pytest.raises(SourceError, match=r"refused\.csv record 2: 'vists' is no table of a log"):
        log.give_back([{**row, "refused_table": "vists"}])


def test_bookkeeping_columns_are_told_from_the_logs_own():
    assert not set(BOOKKEEPING) & {"visit_id", "reason"}


def test_two_files_of_refused_records_in_one_load_keep_apart(log):
    log.load(equipment=[unit("U1")], visits=[call(labor_cost="ten"), call("V2", labor_cost="two")])
    first, second = log.refused()
    folder = log.folder / "both"
    folder.mkdir()
    for name, row in (("again 1", {**first, "labor_cost": "10"}), ("again 2", {**second, "labor_cost": "2"})):
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, row)
            writer.writeheader()
            writer.writerow(row)
    report = load_log(folder, log.store, loaded_on=LOADED_ON)
    assert report.n_quarantined == 0
    assert log.ask("select visit_id, labor_cost::int from log.clean.visit order by 1") == [("V1", 10), ("V2", 2)]


# the refused record comes again in a later export


BAD, GOOD = {"labor_cost": "ten"}, {"labor_cost": "10"}


def totals(report):
    assert all(account.balanced for account in report.accounts)
    return tuple(report.total(standing) for standing in ("records", "clean", "quarantined", "duplicate", "blank"))


def test_a_later_export_that_repeats_a_corrected_record_adds_only_what_is_new(log):
    log.load(equipment=[unit("U1")], visits=[call(**BAD), call("V2")])
    (row,) = log.refused()
    log.give_back([{**row, **GOOD}])
    report = log.load(visits=[call(**BAD), call("V2"), call("V3")])
    assert totals(report) == (7, 4, 0, 3, 0)
    assert log.standing("duplicate") == [
        ("visits.csv", 2, "older_version"), ("visits.csv", 3, "same_row"), ("visits.csv", 2, "older_version"),
    ]  # fmt: skip
    assert log.ask("select visit_id, labor_cost::int from log.clean.visit order by 1") == [
        ("V1", 10), ("V2", None), ("V3", None),
    ]  # fmt: skip
    again = rebuild(log.store)
    assert (again.accounts, again.reasons, again.notices) == (report.accounts, report.reasons, report.notices)


def test_taking_the_correction_back_brings_the_refusal_back(log):
    log.load(equipment=[unit("U1")], visits=[call(**BAD), call("V2")])
    (row,) = log.refused()
    log.give_back([{**row, **GOOD}])
    log.load(visits=[call(**BAD), call("V2"), call("V3")])
    _, report = undo_load(log.store, 2)
    assert totals(report) == (6, 3, 1, 2, 0)
    assert log.standing("quarantined") == [("visits.csv", 2, "labor_cost_not_money")]
    # and the correction can come again, by the export that was read last
    (row,) = log.refused()
    assert totals(log.give_back([{**row, **GOOD}])) == (7, 4, 0, 3, 0)


def test_a_refused_record_that_comes_again_changed_is_refused_anew(log):
    log.load(equipment=[unit("U1")], visits=[call(**BAD), call("V2")])
    (row,) = log.refused()
    log.give_back([{**row, **GOOD}])
    report = log.load(visits=[call(labor_cost="eleven")])
    assert report.n_quarantined == 1
    assert log.refused()[0]["labor_cost"] == "eleven"


def test_a_repeated_record_is_known_under_other_headers_and_beside_new_columns(log):
    log.load(equipment=[unit("U1")], visits=[call(**BAD), call("V2")])
    (row,) = log.refused()
    log.give_back([{**row, **GOOD}])
    text = "Call Type,Labor Cost,Reported,Tag,Visit No,Vendor\nno cooling,ten,2024-06-01,U1,V1,\n"
    assert totals(log.load_text("visits later.csv", text)) == (5, 3, 0, 2, 0)


def test_a_record_refused_by_a_check_stays_corrected_when_it_is_repeated(log):
    bad = visit("V1", "X9", "2024-06-01")
    reading = {"visit_id": "V1", "component": "herm", "value": 44}
    log.load(equipment=[unit("U1")], visits=[bad, call("V2")], readings=[reading])
    log.give_back([{**log.refused()[0], "equipment_id": "U1"}])
    report = log.load(visits=[bad], readings=[reading])
    assert (report.n_quarantined, report.total("duplicate")) == (0, 3)
    assert log.ask("select visit_id, equipment_id from log.clean.visit order by 1") == [("V1", "U1"), ("V2", "U1")]
    assert log.ask("select visit_id, value_uf from log.clean.reading") == [("V1", 44.0)]


def test_a_corrected_reading_stays_in_its_visits_set_when_the_set_comes_again(log):
    readings = [
        {"visit_id": "V1", "component": "herm", "value": "39.0"},
        {"visit_id": "V1", "component": "fan", "value": "4o9"},
    ]
    log.load(equipment=[unit("U1")], visits=[call()], readings=readings)
    (row,) = log.refused()
    log.give_back([{**row, "value": "4.9"}])
    report = log.load(visits=[call()], readings=[*readings, {"visit_id": "V1", "component": "start", "value": "95"}])
    assert report.n_quarantined == 0
    assert log.ask("select component, value_uf from log.clean.reading order by 1") == [
        ("fan", 4.9), ("herm", 39.0), ("start", 95.0),
    ]  # fmt: skip
    assert totals(report) == (9, 5, 0, 4, 0)


def test_a_corrected_line_of_a_sheet_stays_with_its_visit_when_the_sheet_comes_again(log):
    cells = {"visit_id": "V1", "equipment_id": "U1", "building": "1", "reported_at": "2024-06-01"}
    rows = [{**cells, "part_no": "A", "part_cost": "10"}, {**cells, "part_no": "B", "part_cost": "ten"}]
    log.load(visits=rows)
    (row,) = log.refused()
    log.give_back([{**row, "part_cost": "12"}])
    report = log.load(visits=[*rows, {**cells, "visit_id": "V2"}])
    assert report.n_quarantined == 0
    assert log.ask("select part_no, unit_cost::int from log.clean.part order by 1") == [("A", 10), ("B", 12)]
    assert log.ask("select visit_id from log.clean.visit order by 1") == [("V1",), ("V2",)]
    assert totals(report)[0] == 6


def test_a_line_that_couldnt_be_split_is_known_again(log):
    text = "visit_id,equipment_id,reported_at,notes\nV1,U1,2024-06-01,a,b\nV3,U1,2024-06-03,fine\n"
    log.load_text("visits.csv", text)
    (row,) = log.refused()
    log.give_back([{**row, "refused_text": 'V1,U1,2024-06-01,"a,b"'}])
    report = log.load_text("visits.csv", text + "V4,U1,2024-06-04,new\n")
    assert totals(report) == (6, 3, 0, 3, 0)
    _, report = undo_load(log.store, 2)
    assert report.n_quarantined == 2  # lines without a key of their own, one a file


def test_a_record_given_back_as_it_was_stays_refused(log):
    log.load(equipment=[unit("U1")], visits=[call(**BAD), call("V2")])
    log.give_back(log.refused())
    report = log.load(visits=[call(**BAD), call("V3")])
    assert totals(report) == (6, 3, 1, 2, 0)
    (row,) = log.refused()
    # corrected at last: the first refusal, the vain correction and the repetition all give way
    assert totals(log.give_back([{**row, **GOOD}])) == (7, 4, 0, 3, 0)
    assert log.ask("select visit_id, labor_cost::int from log.clean.visit order by 1") == [
        ("V1", 10), ("V2", None), ("V3", None),
    ]  # fmt: skip


def test_a_record_corrected_twice_follows_its_repetition_as_the_second_says(log):
    readings = [{"visit_id": "V1", "component": "herm", "value": "4o"}]
    log.load(equipment=[unit("U1")], visits=[call()], readings=readings)
    log.give_back([{**log.refused()[0], "value": "4i"}])
    log.give_back([{**log.refused()[0], "value": "41"}])
    more = {"visit_id": "V1", "component": "fan", "value": "5"}
    report = log.load(visits=[call()], readings=[*readings, more])
    assert report.n_quarantined == 0
    assert log.ask("select component, value_uf from log.clean.reading order by 1") == [("fan", 5.0), ("herm", 41.0)]


def test_two_records_alike_in_one_file_need_one_correction(log):
    readings = [{"visit_id": "V1", "component": "herm", "value": "4o"}] * 2
    log.load(equipment=[unit("U1")], visits=[call()], readings=readings)
    report = log.give_back([{**log.refused()[0], "value": "40"}])
    assert (report.n_quarantined, report.total("duplicate")) == (0, 2)
    assert log.ask("select value_uf from log.clean.reading") == [(40.0,)]
