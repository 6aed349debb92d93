"""A log with headers of its own: drafted, corrected, loaded with the mapping, rebuilt the same."""

import datetime as dt

import pytest
from small_logs import unit, visit, write_log

from fleet.errors import SourceError
from fleet.ingest.drafting import draft_for
from fleet.ingest.load import LoadOptions, load_log, rebuild
from fleet.ingest.mapping import read_mapping
from fleet.ingest.report import records_frame
from fleet.store.snapshots import Store

LOADED_ON = dt.date(2025, 1, 1)


class Mapped:
    def __init__(self, folder):
        self.folder, self.store = folder, Store(folder / "store")

    def write(self, **files):
        (self.folder / "log").mkdir(exist_ok=True)
        for name, text in files.items():
            (self.folder / "log" / f"{name}.csv").write_text(text, encoding="utf-8")
        return self.folder / "log"

    def load(self, toml):
        file = self.folder / "mapping.toml"
        file.write_text(toml, encoding="utf-8")
        options = LoadOptions(mapping=read_mapping(file))
        return load_log(self.folder / "log", self.store, loaded_on=LOADED_ON, options=options)

    def ask(self, sql):
        with self.store.open() as database:
            return database.rows(sql)

    def kept(self):
        with self.store.open() as database:
            return list(records_frame(database, "kept").reason)


@pytest.fixture
def log(tmp_path):
    return Mapped(tmp_path)


FOREIGN = """
[[file]]
name = "calls.csv"
table = "visits"
dates = "dmy"
  [[file.column]]
  header = "Thing"
  means = "equipment_id"
  [[file.column]]
  header = "Stamp"
  means = "reported_at"
  [[file.column]]
  header = "Culprit"
  means = "finding"
  [[file.column]]
  header = "Span"
  means = "labor_minutes"
  unit = "h"
  [[file.always]]
  means = "technician"
  value = "R. Vale"
[[word]]
column = "finding"
written = "puffed can"
means = "run capacitor"
[[same]]
column = "equipment_id"
keep = "A-1"
written = ["the first one"]
"""


def test_headers_units_words_and_names_are_as_the_mapping_says(log):
    log.write(calls="Thing,Stamp,Culprit,Span\nA-1,03/04/2024,puffed can,1.5\nthe first one,04/04/2024,contactor,1\n")
    report = log.load(FOREIGN)
    assert (report.total("clean"), report.n_quarantined) == (2, 0)
    assert log.ask(
        "select equipment_id, reported_at::date::varchar, finding, labor_minutes, technician "
        "from log.clean.visit order by 2"
    ) == [
        ("A-1", "2024-04-03", "run capacitor", 90, "R. Vale"), ("A-1", "2024-04-04", "contactor", 60, "R. Vale"),
    ]  # fmt: skip
    assert log.kept() == ["said_the_same: the first one read as A-1"]
    assert rebuild(log.store).accounts == report.accounts


def test_a_draft_loads_a_foreign_log_as_it_stands(log):
    rows = "".join(
        f"W{i},AC-{i % 7:02},2024-0{i % 4 + 5}-{i % 27 + 1:02} 1{i % 9}:30,no cooling,bad capacitor,{40 + i},R. Vale\n"
        for i in range(60)
    )
    log.write(anruf="Job Ref,Cond Unit Nbr,Date Rptd,Complaint Desc,What Was Wrong,Mins On Site,Mechanic\n" + rows)
    report = log.load(draft_for(log.folder / "log", "dogdays load log --mapping mapping.toml"))
    assert (report.total("clean"), report.n_quarantined) == (60, 0)
    assert log.ask(
        "select count(distinct equipment_id), count(distinct technician), min(labor_minutes) from log.clean.visit"
    ) == [(7, 1, 40)]
    assert log.ask("select distinct finding from log.clean.visit") == [("run capacitor",)]


def test_a_file_the_mapping_leaves_aside_is_said(log):
    log.write(calls="Thing,Stamp\nA-1,2024-04-03\n", budget="year,money\n2024,5\n")
    toml = FOREIGN.split('  [[file.column]]\n  header = "Culprit"')[0] + '[[file]]\nname = "budget.csv"\ntable = ""\n'
    report = log.load(toml)
    assert any("budget.csv" in said and "passed over" in said for said in report.remarks)


def test_a_file_nothing_is_known_of_stops_the_load_and_says_how_to_go_on(log):
    log.write(calls="Thing,Stamp\nA-1,2024-04-03\n")
    with pytest.raises(SourceError, match=r"calls\.csv .*--draft-mapping FILE"):
        load_log(log.folder / "log", log.store, loaded_on=LOADED_ON)


def test_a_column_the_mapping_names_that_isnt_there_stops_the_load(log):
    log.write(calls="Thing,Stampp\nA-1,2024-04-03\n")
    with pytest.raises(SourceError, match=r"calls\.csv has no column 'Stamp', .*did you mean 'Stampp'"):
        log.load(FOREIGN)


def test_a_title_above_the_header_is_blank_and_counted(log):
    log.write(visits="Cooling calls of 2024\n\nvisit_id,equipment_id,reported_at\nV1,U1,2024-06-01\n")
    report = log.load("")
    assert (report.total("records"), report.total("clean"), report.total("blank")) == (3, 1, 2)
    assert ("visits", "blank", "above the header", 2) in report.reasons


def test_decimal_commas_may_be_said(log):
    log.write(calls="Thing;Stamp;Culprit;Span\nA-1;03/04/2024;contactor;1,250\n")
    log.load(FOREIGN.replace('dates = "dmy"', 'dates = "dmy"\ndecimal = "comma"'))
    assert log.ask("select labor_minutes from log.clean.visit") == [(75,)]


def test_another_mapping_makes_another_load(log):
    log.write(calls="Thing,Stamp,Culprit,Span\nA-1,03/04/2024,x,1\n")
    log.load(FOREIGN)
    report = log.load(FOREIGN.replace("dmy", "mdy"))
    assert report.loaded
    assert log.ask("select reported_at::date::varchar from log.clean.visit") == [("2024-03-04",)]


def test_buildings_spelled_several_ways_are_one_and_said(log):
    rows = [unit("U1", building="Juniper 3"), unit("U2", building="Juniper 3"), unit("U3", building="JUNIPER 03")]
    write_log(
        log.folder / "log", equipment=rows, visits=[visit("V1", "U3", "2024-06-01")],
        stock=[{"property": "Oak Row", "location": "juniper-3", "part_no": "P", "on_hand": 2}],
    )  # fmt: skip
    log.load("")
    assert log.ask("select distinct building from log.clean.equipment") == [("Juniper 3",)]
    assert log.ask("select location from log.clean.stock") == [("Juniper 3",)]
    assert len(log.kept()) == 2


def test_tags_of_the_equipment_that_may_be_one_are_offered_not_merged(log):
    write_log(log.folder / "log", equipment=[unit("U-1"), unit("U01")], visits=[visit("V1", "U-1", "2024-06-01")])
    report = log.load("")
    assert log.ask("select count(*) from log.clean.equipment") == [(2,)]
    assert any(
        said.startswith("1 pair of equipment_id differs only in case, spaces, punctuation or zeros and is kept apart")
        and "[[same]]" in said
        for said in report.remarks
    )


def test_names_that_a_program_took_for_measurements_are_names_again(log):
    log.write(
        visits="visit_id,unit,date,building\n1.0,12.0,2024-06-01,3.0\n2.0,7.0,2024-06-02,3.0\nTotal,,,\n",
        equipment="tag,building\n12,3\n7,3\n",
        readings="visit_id,component,value\n1,herm,44\n2,herm,43\n",
    )
    report = log.load("")
    assert (report.n_quarantined, report.total("blank")) == (0, 1)
    assert log.ask("select visit_id, equipment_id from log.clean.visit order by 1") == [("1", "12"), ("2", "7")]
    assert "visits.csv: every visit_id is a number written like 12.0; read as 12" in report.remarks
    assert rebuild(log.store).remarks == report.remarks


@pytest.mark.parametrize("other", ["2.5", "A-2", "2"])
def test_names_some_of_which_arent_whole_numbers_stay_as_they_are(log, other):
    log.write(visits=f"visit_id,unit,date\n1.0,U1,2024-06-01\n3.0,U1,2024-06-03\n{other},U1,2024-06-02\n")
    log.load("")
    assert log.ask("select visit_id from log.clean.visit order by reported_at") == [("1.0",), (other,), ("3.0",)]
