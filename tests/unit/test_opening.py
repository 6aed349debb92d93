"""Which tables the files of a log hold: by a sheet's name, its file's or its headers; notes are passed over by name."""

import datetime as dt
import sqlite3
from contextlib import closing

import pytest
from small_workbooks import make

from fleet.errors import SourceError
from fleet.ingest.load import LoadOptions, load_log
from fleet.ingest.mapping import LogMapping
from fleet.ingest.sources import discover, is_note
from fleet.store.snapshots import Store

LOADED_ON = dt.date(2025, 1, 1)
CALLS = [["unit", "date", "notes"], ["U1", "2024-06-01", "warm"], ["U2", "2024-06-02", ""]]
OWN = [["Thing", "Stamp", "Culprit"], ["U1", "2024-06-01", "contactor"]]
VISITS = "visit_id,equipment_id,reported_at\nV1,U1,2024-06-01\n"


class Log:
    def __init__(self, folder):
        self.folder, self.store = folder / "log", Store(folder / "store")
        self.folder.mkdir()

    def write(self, name, text):
        (self.folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())

    def book(self, name, **sheets):
        make(self.folder / name, sheets)

    def load(self, mapping=None):
        mapping = LogMapping.from_plain(mapping) if mapping else None
        return load_log(self.folder, self.store, loaded_on=LOADED_ON, options=LoadOptions(mapping=mapping))


@pytest.fixture
def log(tmp_path):
    return Log(tmp_path)


def tables(report):
    return [(account.source, account.table, account.records) for account in report.accounts]


# the name of the file that holds a sheet


def test_a_sheet_whose_name_says_nothing_goes_by_its_files(log):
    # by its headers alone a shelf count is a list of parts, and a list of buildings nothing
    log.book("visits.xlsx", Sheet1=CALLS)
    log.book("stock 2024.xlsx", Sheet1=[["where", "part", "count"], ["shop", "P1", 2]])
    log.book("buildings.xlsx", Tabelle1=[["building", "date", "order"], ["1", "", 1]])
    assert tables(log.load()) == [
        ("visits.xlsx:Sheet1", "visits", 2), ("stock 2024.xlsx:Sheet1", "stock", 1),
        ("buildings.xlsx:Tabelle1", "buildings", 1),
    ]  # fmt: skip


def test_a_sheets_own_name_wins_over_its_files(log):
    log.book("visits.xlsx", equipment=[["equipment_id", "building"], ["U1", "1"]])
    log.write("visits.csv", VISITS)
    assert tables(log.load()) == [("visits.xlsx:equipment", "equipment", 1), ("visits.csv", "visits", 1)]


def test_sheets_that_are_no_tables_dont_hide_the_one_that_is(log):
    log.book(
        "visits.xlsx", Sheet1=CALLS, Notes=[["how to fill this in"], ["one row a call"]], Chart=[["a", "b"], [1, 2]]
    )
    report = log.load()
    assert tables(report) == [("visits.xlsx:Sheet1", "visits", 2)]
    assert "passed over: visits.xlsx:Notes (headers: how to fill this in)" in report.remarks


def test_a_sheet_that_cant_be_what_its_file_is_called_says_which_column_is_missing(log):
    log.book("visits.xlsx", Sheet1=OWN)
    with pytest.raises(SourceError, match=r"visits\.xlsx:Sheet1: the needed column equipment_id of visits is missing"):
        log.load()


def test_a_mapping_wins_over_every_name(log):
    log.book("equipment.xlsx", Sheet1=CALLS)
    report = log.load({"file": [{"name": "equipment.xlsx:Sheet1", "table": "visits"}]})
    assert tables(report) == [("equipment.xlsx:Sheet1", "visits", 2)]


def test_a_table_of_a_database_goes_by_its_files_name_too(log):
    log.write("visits.csv", VISITS)
    with closing(sqlite3.connect(log.folder / "equipment.db")) as connection:
        connection.executescript("create table main (tag, building, date); insert into main values ('U1', '1', null)")
    assert tables(log.load()) == [("equipment.db:main", "equipment", 1), ("visits.csv", "visits", 1)]


def test_several_sheets_of_one_file_go_by_their_headers(log):
    log.book("visits and units.xlsx", Sheet1=CALLS, Sheet2=[["tag", "building", "tons"], ["U1", "1", 2]])
    assert tables(log.load()) == [
        ("visits and units.xlsx:Sheet2", "equipment", 1), ("visits and units.xlsx:Sheet1", "visits", 2),
    ]  # fmt: skip


# names that mislead, headers that fit too little

SERVICE = "Building,Unit,Date Called,Problem,Finding,Tech,Labor Cost\n1,U1,2024-06-01,no cooling,contactor,Ana,50\n"
UNITS = "Tag,Building,Installed,Model,Tons,Refrigerant\nU1,1,2015-05-01,M1,2,R-410A\n"


def test_headers_that_clearly_speak_of_another_table_win_over_a_files_name(log):
    # it has all that an equipment list needs
    log.write("Equipment service log.csv", SERVICE)
    report = log.load()
    assert tables(report) == [("Equipment service log.csv", "visits", 1)]
    assert any(
        said.startswith("Equipment service log.csv: read as visits, which its headers speak of, whatever its name; ")
        for said in report.remarks
    )


def test_a_file_that_cant_be_what_it_is_called_is_read_as_what_its_headers_say(log):
    log.write("equipment.csv", "Tag,Date Reported,Call Type,Finding,Tech\nU1,2024-06-01,no cooling,contactor,Ana\n")
    assert tables(log.load()) == [("equipment.csv", "visits", 1)]


def test_a_visits_file_that_looks_like_a_list_of_units_stops_the_load_and_says_both_ways_on(log):
    log.write("visits.csv", UNITS)
    said = r"needed column reported_at of visits is missing .*; or, if this is equipment, let its name begin so"
    with pytest.raises(SourceError, match=said):
        log.load()


def test_one_header_of_many_doesnt_make_a_table(log):
    # "Building" alone would do for a list of buildings
    log.write("AC service.csv", SERVICE.replace("Unit", "Beast"))
    with pytest.raises(SourceError, match=r"AC service\.csv: the needed column equipment_id of visits is missing"):
        log.load()


def test_a_sheet_passed_over_though_most_of_its_headers_are_a_logs_says_so(log):
    foreign = ["Building", "Beast", "Date Called", "Problem", "Finding", "Tech"]
    log.book("book.xlsx", May=CALLS, June=[foreign, ["1", "U1", "2024-06-01", "x", "contactor", "Ana"]])
    (said,) = [said for said in log.load().remarks if said.startswith("passed over")]
    assert "book.xlsx:June" in said
    assert "most are those of visits: if it belongs to the log, let dogdays draft a mapping" in said


def test_what_headers_were_taken_for_is_said(log):
    log.write(
        "visits.csv",
        "Call ref,Unit,Date,Time,Labor (hrs),reported,notes,visit_id,Sky\n,U1,2024-06-01,9:30,1.5,,,V1,x\n",
    )
    (said,) = [said for said in log.load().remarks if said.startswith("visits.csv: read ")]
    assert "'Unit' as equipment_id" in said
    assert "'Labor (hrs)' as labor_minutes in h" in said
    assert "'notes'" not in said
    assert "'visit_id'" not in said


def test_headers_that_say_it_themselves_or_that_the_mapping_names_arent_said(log):
    log.write("visits.csv", "Visit,Equipment ID,Reported,Culprit\nV1,U1,2024-06-01,contactor\n")
    column = {"header": "Culprit", "means": "finding"}
    report = log.load({"file": [{"name": "visits.csv", "table": "visits", "column": [column]}]})
    assert [said for said in report.remarks if ": read " in said] == []


# notes


NOTES = {
    "readme.txt": "This folder holds the calls of 2024, as exported, with the list of units.\nAsk Ana if it's odd.\n",
    "notes.txt": "Dear all,\n\nthe calls, the units, and the weather\nare here: all of them, with dates,\nas agreed.\n",
    "empty.txt": "",
    "blank.txt": "\n \n",
    "one line.txt": "calls, units, weather and parts, by hand, 2024",
    "quote.txt": 'He said "bring it\n',
    "list.txt": "calls\nunits\nBuilding\nDate\nparts\n",
    "utf-16.txt": "\ufeffBitte nicht ändern.\r\n".encode("utf-16-le"),
    "nothing in utf-16.txt": "\ufeff\r\n".encode("utf-16-le"),
}


@pytest.mark.parametrize("name", NOTES)
def test_a_note_in_the_folder_is_passed_over_and_named(log, name):
    log.write("visits.csv", VISITS)
    log.write(name, NOTES[name])
    report = log.load()
    assert tables(report) == [("visits.csv", "visits", 1)]
    assert f"passed over in log: {name} (no table of a log)" in report.remarks


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
@pytest.mark.parametrize("name", ["export.txt", "visits.txt"])
def test_a_text_file_that_holds_a_table_is_loaded(log, name, encoding):
    rows = [*CALLS, ["U3", "2024-06-03", "né"]]
    log.write(name, "\r\n".join("\t".join(row) for row in rows).encode(encoding))
    assert tables(log.load()) == [(name, "visits", 3)]


def test_a_text_file_with_titles_above_its_table_is_loaded(log):
    log.write("export.txt", "Calls 2024\n\nprinted by hand, at noon\nunit;date;notes\nU1;2024-06-01;a\n")
    assert tables(log.load()) == [("export.txt", "visits", 4)]  # the lines above it are counted


def test_a_table_in_words_of_its_own_stops_the_load_under_any_name(log):
    log.write("visits.csv", VISITS)
    log.write("calls.txt", "Thing\tStamp\tCulprit\nA\t2024-06-01\tx\nB\t2024-06-02\t\n")
    with pytest.raises(SourceError, match=r"calls\.txt \(headers: Thing, Stamp, Culprit\): neither its name nor"):
        log.load()


@pytest.mark.parametrize(
    "text",
    [
        'Thing\t"Stamp\tCulprit\nA\t2024-06-01\tx\nB\t2024-06-02\t\nC\t2024-06-03\t\n',
        "Calls\n\nThing;Stamp;Culprit\nA;2024-06-01;x\nB;2024-06-02;y\n",
        "Thing,Stamp,Culprit\nA,2024-06-01,x\nB,2024-06-02,y\n",
    ],
)
def test_what_may_be_a_table_is_no_note(tmp_path, text):
    (tmp_path / "calls.txt").write_text(text)
    assert not is_note("calls.txt", tmp_path / "calls.txt")


def test_a_text_file_the_mapping_names_is_read_however_it_looks(log):
    log.write("a note.txt", "Thing,Stamp\nA-1,2024-06-01\n")
    assert is_note("a note.txt", log.folder / "a note.txt")
    columns = [{"header": "Thing", "means": "equipment_id"}, {"header": "Stamp", "means": "reported_at"}]
    file = {"name": "a note.txt", "table": "visits", "column": columns}
    assert tables(log.load({"file": [file]})) == [("a note.txt", "visits", 1)]


def test_refused_records_saved_as_text_are_no_note(log):
    log.write("visits.csv", VISITS)
    header = "refused_table\trefused_from\trefused_record\trefused_file"
    log.write("refused.txt", header + "\nvisits\tvisits.csv\t2\tfile-x\n")
    assert [file.name for file in discover(log.folder).files] == ["refused.txt", "visits.csv"]


def test_a_note_given_by_itself_is_no_log(log, tmp_path):
    log.write("readme.txt", NOTES["readme.txt"])
    with pytest.raises(SourceError, match="neither its name nor its headers"):
        load_log(log.folder / "readme.txt", log.store, loaded_on=LOADED_ON)


def test_what_was_passed_over_is_said_with_what_to_do(log):
    log.write("visits.csv", VISITS)
    for name in ("a.pdf", ".hidden.csv", "2022.xls", "2023.ods", "old.zip"):
        log.write(name, b"x")
    (log.folder / "2021").mkdir()
    assert [said for said in log.load().remarks if "passed over" in said] == [
        "passed over in log: .hidden.csv (hidden)",
        "passed over in log: 2021 (not looked into); give a folder by itself if it is part of the log",
        "passed over in log: 2022.xls, 2023.ods; save as .xlsx or CSV what is part of the log",
        "passed over in log: a.pdf (no table of a log)",
        "passed over in log: old.zip; unpack what is part of the log",
    ]
