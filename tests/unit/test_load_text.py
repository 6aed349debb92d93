"""The account of a load in plain text: what goes together is said once, and one of a thing is one."""

import datetime as dt
import subprocess
import sys

import pytest
from small_logs import unit, visit, write_log

from fleet.ingest.load import load_log
from fleet.ingest.possible import CANNOT, NEEDS
from fleet.ingest.report import LoadReport, SourceAccount
from fleet.present.load_text import WIDTH, answered_in_part, gathered, load_json, load_text, unanswered
from fleet.store.snapshots import Store

CALL = visit("V1", "U1", "2024-06-01 10:00", finding="contactor", technician="R. Vale")


def account_of(folder, **tables):
    return load_log(write_log(folder / "log", **tables), Store(folder / "store"), loaded_on=dt.date(2025, 1, 1))


@pytest.fixture(scope="module")
def thin(tmp_path_factory):
    return account_of(tmp_path_factory.mktemp("thin"), visits=[CALL, {**CALL, "visit_id": "V2", "reported_at": "soon"}])


@pytest.fixture(scope="module")
def with_units(tmp_path_factory):
    return account_of(tmp_path_factory.mktemp("units"), visits=[CALL], equipment=[unit("U1")])


def test_the_columns_of_a_table_that_didnt_come_are_said_at_once(thin):
    said = unanswered(thin)
    assert (
        "parts_used (component, lot): how long parts last, who wears out and who dies young; bad lots of parts" in said
    )
    assert (
        "readings (value, component, meter) and equipment (herm_uf): capacitor drift (when each capacitor leaves "
        "tolerance); which meter reads high or low"
    ) in said
    (units,) = [line for line in answered_in_part(thin) if line.startswith("equipment (")]
    assert "rates of all types together; rates of all models together" in units


def test_columns_of_a_table_that_came_are_said_by_what_they_would_give(with_units):
    assert "visits (finished_at, outcome): hours without cooling" in unanswered(with_units)
    assert "readings (value, component, meter): capacitor drift (when each capacitor leaves tolerance); " + (
        "which meter reads high or low"
    ) in unanswered(with_units)
    assert "visits (labor_cost): no labor money" in answered_in_part(with_units)


def test_columns_that_would_mend_the_same_are_one_line(tmp_path):
    bare = {name: CALL[name] for name in ("visit_id", "equipment_id", "reported_at")}
    said = answered_in_part(account_of(tmp_path, visits=[bare]))
    assert "visits (finding, technician, vendor): call-backs of all calls together" in said


@pytest.mark.parametrize("which", ["thin", "with_units"])
def test_everything_missing_is_said_and_nothing_twice(which, request):
    report = request.getfixturevalue(which)
    lines = [*unanswered(report), *answered_in_part(report)]
    for one in report.missing:
        table, _, column = one.columns[-1].partition(".")
        words = one.answer.partition(":")[0] if one.instead == CANNOT else one.instead
        assert any(f"{table} (" in line and column in line and words in line for line in lines), one
    assert len(set(lines)) == len(lines) <= len(NEEDS) / 2 + 5
    text = load_text(report, ".fleet")
    assert len(text.splitlines()) < 65
    assert max(len(line) for line in text.splitlines()) <= WIDTH


def test_the_plain_data_keeps_every_answer_by_itself(thin):
    assert '"answer": "bad lots of parts"' in load_json(thin)
    assert set(thin.to_dict()["missing"][0]) == {"answer", "columns", "instead"}


def test_people_read_refused_and_never_quarantined(thin):
    text = load_text(thin, "s")
    assert "refused" in text
    assert "quarantin" not in text
    assert "     1 in visits: reported_at_not_a_date (can't be read as a date)" in text


def test_one_of_a_thing_is_one():
    one = SourceAccount(source="v.csv", table="visits", records=1, clean=1, quarantined=0, duplicate=0, blank=0)
    report = LoadReport(data_version="s", loaded=True, accounts=(one,), reasons=(), notices=(), remarks=())
    assert load_text(report, "s").startswith("1 record in = 1 clean + 0 refused + 0 duplicate + 0 blank.")


def test_a_full_log_lacks_nothing_and_says_nothing_of_it():
    report = LoadReport(data_version="s", loaded=True, accounts=(), reasons=(), notices=(), remarks=())
    assert "can't answer" not in load_text(report, "s")


def test_what_is_said_of_several_files_and_columns_is_said_once():
    lost = "{}: the column '{}' isn't understood; it stays in the kept source"
    remarks = [
        "b.xlsx:May: read as visits", "b.xlsx:June: read as visits", "c.csv: read as visits; 'a: b' as notes",
        lost.format("b.xlsx:May", "Cost"), lost.format("b.xlsx:May", "Sky"), lost.format("b.xlsx:June", "Cost"),
        lost.format("b.xlsx:June", "Sky"), lost.format("c.csv", "Sky: blue"), "no equipment table came: units lack",
    ]  # fmt: skip
    assert gathered(remarks) == [
        "b.xlsx:May and b.xlsx:June: read as visits",
        "c.csv: read as visits; 'a: b' as notes",
        "b.xlsx:May and b.xlsx:June: the columns 'Cost' and 'Sky' aren't understood; they stay in the kept source",
        "c.csv: the column 'Sky: blue' isn't understood; it stays in the kept source",
        "no equipment table came: units lack",
    ]
    many = gathered([f"b.xlsx:{i}: read as visits" for i in range(25)])
    assert many[0].endswith("b.xlsx:19 and 5 more: read as visits")


def test_loading_takes_no_table_library_with_it():
    # a second of every load
    code = "import sys, fleet.present.load_text, fleet.ingest.load; sys.exit('pandas' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
