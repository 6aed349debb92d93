import datetime as dt
from contextlib import closing
from pathlib import Path

import pytest
from small_logs import unit, visit, write_log

from fleet.histories.build import build_histories
from fleet.ingest.load import load_log
from fleet.ingest.possible import CANNOT, NEEDS, Missing, made_possible_by, what_is_missing
from fleet.store.schema import SHEET_COLUMNS, TABLES
from fleet.store.snapshots import Store

DRIFT = "capacitor drift: when each capacitor leaves tolerance"
EVERYTHING = {name: [column.name for column in table.columns] for name, table in TABLES.items()}
SQL = "\n".join(
    file.read_text(encoding="utf-8")
    for layer in ("histories", "analysis", "planning", "present")
    for file in sorted((Path(__file__).parents[2] / "fleet" / layer).rglob("*"))
    if file.suffix in (".sql", ".py")
)
"""What really uses columns, to hold the list of needs against."""


def answers(missing):
    return {one.answer for one in missing if one.instead == CANNOT}


def named_columns():
    for need in NEEDS:
        for name in (*need.needs, *(name for name, _ in need.better)):
            yield from (part.strip().split(".") for part in name.split("|"))


def test_every_need_is_a_column_of_the_contract_that_something_reads():
    for table, column in named_columns():
        TABLES[table].column(column)
        # the placing columns are filled in by ingest and read from its clean tables
        assert column in SQL or column in ("walk_order", "hours_from"), column


def test_a_full_log_lacks_nothing():
    assert what_is_missing(EVERYTHING) == ()


def test_bare_visits_answer_little():
    missing = what_is_missing({"visits": ["equipment_id", "reported_at"]})
    assert {DRIFT, "bad lots of parts", "hours without cooling"} <= answers(missing)
    assert Missing("call-backs by technician", ("visits.technician",), "call-backs of all calls together") in missing


def test_only_the_first_of_two_columns_that_would_do_is_asked_for():
    missing = {one.answer: one for one in what_is_missing({"visits": ["equipment_id", "reported_at"]})}
    assert missing["failure rates by component"].columns == ("visits.finding",)
    with_parts = what_is_missing({"visits": ["equipment_id", "reported_at"], "parts_used": ["visit_id", "component"]})
    assert "failure rates by component" not in {one.answer for one in with_parts}


def test_what_would_make_an_answer_better_is_said_once_it_can_be_given():
    log = {"visits": ["equipment_id", "reported_at"], "readings": ["visit_id", "component", "value"]}
    assert [one.columns for one in what_is_missing(log) if "drift" in one.answer] == [("equipment.herm_uf",)]
    log["equipment"] = ["equipment_id", "building", "herm_uf"]
    drift = [one for one in what_is_missing(log) if "drift" in one.answer]
    assert Missing(drift[0].answer, ("equipment.tolerance_pct",), "a tolerance of 6 percent is taken for all") in drift
    assert CANNOT not in [one.instead for one in drift]


def test_a_visits_sheet_counts_as_equipment_readings_and_parts():
    sheet = ["equipment_id", "reported_at", "herm_found_uf", "herm_uf", "meter", "part_component", "part_lot"]
    missing = what_is_missing({"visits": sheet})
    assert not {DRIFT, "which meter reads high or low", "bad lots of parts"} & answers(missing)
    # a sheet has no list of units: those never visited are missing
    assert "time at risk: how many units ran, and how long" in {one.answer for one in missing}


def test_what_a_column_makes_possible():
    assert made_possible_by("visits", "technician") == ("call-backs by technician",)
    assert made_possible_by("parts_used", "lot") == ("bad lots of parts",)
    assert made_possible_by("visits", "part_lot") == ("bad lots of parts",)
    assert made_possible_by("visits", "fan_found_uf") == made_possible_by("readings", "value")
    assert made_possible_by("visits", "notes") == ()


def test_those_that_cant_do_without_it_come_first():
    assert made_possible_by("equipment", "installed_on")[0] == "failure rates by age of the unit"


@pytest.mark.parametrize("column", [column.name for column in SHEET_COLUMNS])
def test_every_sheet_column_can_be_asked_about(column):
    assert isinstance(made_possible_by("visits", column), tuple)


def test_answers_are_named_once():
    names = [need.answer for need in NEEDS]
    assert len(names) == len(set(names))


def test_part_numbers_the_catalogue_has_promise_their_components():
    log = {"visits": ["equipment_id", "reported_at"], "parts_used": ["visit_id", "part_no"]}
    lacking = "how long parts last, who wears out and who dies young"
    assert lacking in answers(what_is_missing(log))
    log["catalogue"] = ["part_no", "component"]
    assert lacking not in answers(what_is_missing(log))
    # in records that were read the column itself tells whether the catalogue had any of the numbers
    assert lacking in answers(what_is_missing(log, is_read=True))


@pytest.mark.parametrize(("part_no", "component"), [("k 1", "contactor"), ("K-2", None)])
def test_a_part_takes_its_component_from_the_catalogue(tmp_path, part_no, component):
    log = write_log(
        tmp_path / "log", equipment=[unit("U1")], visits=[visit("V1", "U1", "2024-06-01")],
        parts_used=[{"visit_id": "V1", "part_no": part_no, "why": "failed"}],
        catalogue=[{"part_no": "K-1", "component": "contactor"}],
    )  # fmt: skip
    store = Store(tmp_path / "store")
    report = load_log(log, store, loaded_on=dt.date(2025, 1, 1))
    with store.open() as database:
        assert database.rows("select component from log.clean.part") == [(component,)]
    wants = {column for one in report.missing for column in one.columns}
    assert ("parts_used.component" in wants) is (component is None)
    with closing(build_histories(store)) as known:
        meant = known.database.rows("select component, meaning from history.event")
    assert meant == ([("contactor", "failed")] if component else [])
