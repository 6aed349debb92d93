"""A hundred kinds of broken, odd and hostile files: never a traceback, a half load, or a row unaccounted for."""

import csv
import datetime as dt
import io

import pytest
from broken_files import KINDS

from fleet.errors import FleetError
from fleet.ingest.load import load_log, rebuild
from fleet.ingest.records import find_records
from fleet.ingest.refused_file import write_refused
from fleet.store.snapshots import Store

LOADED_ON = dt.date(2025, 1, 1)
csv.field_size_limit(2**31 - 1)

WHOLE = {
    "good": 40, "no line end at the end": 40, "newlines in a note": 40, "UTF-8 mark": 40, "UTF-16": 40,
    "UTF-16 without a mark": 40, "semicolons": 40, "tabs": 40, "pipes": 40, "carriage returns alone": 40,
    "semicolons with decimal commas": 40, "gzip": 40, "gzip named plain": 40, "workbook": 40, "workbook named csv": 40,
    "workbook with formulas": 40, "workbook with an empty sheet": 40, "sqlite": 3000, "sqlite named csv": 3000,
    "Latin-1": 41, "CP1252": 41, "inch marks": 41, "quotes doubled": 41, "a 3 MB line": 41,
    "commas at the end of every row": 40, "emoji and right-to-left": 41, "formulas in cells": 41,
    "sqlite with a view": 1,
    "title lines above": 40, "sep line": 40, "workbook with titles above": 40, "spaces everywhere": 40,
    "10,000 columns": 1, "blank lines": 40, "a carriage return in a note": 41, "sqlite with bad text": 1,
}  # fmt: skip
"""Files that are odd but whole, with their good records."""

LOST_ONE = {
    "quote opened in the middle": 40, "quote opened on the last line": 40, "NUL in a cell": 40, "too few fields": 40,
    "too many fields": 40, "impossible dates": 40, "not a number": 41, "header again in the middle": 40,
    "totals at the foot": 40, "lines of commas": 40, "truncated in a quote": 6,
}  # fmt: skip
"""Files in which one record is wrong, with the records that are good."""


def test_there_are_many_kinds():
    assert len(KINDS) >= 100


def loaded_or_refused(log, store):
    """Return the report, or the sentence the file was refused with."""
    try:
        return load_log(log, store, loaded_on=LOADED_ON), ""
    except FleetError as error:
        return None, str(error)


@pytest.mark.parametrize("kind", KINDS)
def test_a_broken_file_is_refused_in_one_sentence_or_accounted_for_to_the_last_record(tmp_path, kind):
    name, content = KINDS[kind]
    log = tmp_path / name
    log.write_bytes(content)
    store = Store(tmp_path / "store")
    report, error = loaded_or_refused(log, store)
    if report is None:
        assert kind not in WHOLE | LOST_ONE, error
        assert error
        assert "\n" not in error
        assert not (tmp_path / "store" / "manifest.json").exists()
        return
    assert all(account.balanced for account in report.accounts)
    if kind in WHOLE | LOST_ONE:
        assert report.total("clean") + report.total("duplicate") == (WHOLE | LOST_ONE)[kind]
    if kind in WHOLE:
        assert report.n_quarantined == 0
    # the refused records can be listed and written, and everything can be rebuilt
    refused = find_records(store, "quarantined")
    assert len(refused) == report.n_quarantined
    assert len(list(csv.reader(io.StringIO(write_refused(refused), newline="")))) == len(refused) + 1
    if kind in ("good", "workbook", "sqlite with odd types", "quote opened in the middle", "gzip named plain"):
        assert rebuild(store).accounts == report.accounts


@pytest.mark.parametrize("kind", ["quote opened in the middle", "newlines in a note", "nested quotes", "blank lines"])
def test_the_records_of_a_file_are_those_counted_by_hand(tmp_path, kind):
    _, content = KINDS[kind]
    log = tmp_path / "visits.csv"
    log.write_bytes(content)
    report = load_log(log, Store(tmp_path / "store"), loaded_on=LOADED_ON)
    counted = {"quote opened in the middle": 41, "newlines in a note": 40, "nested quotes": 41, "blank lines": 81}
    # every line of "blank lines" is followed by an empty one, the last included
    assert report.total("records") in (counted[kind], counted[kind] - 1 + (kind == "blank lines"))


@pytest.mark.parametrize("text", ["=1+1", "+x", "-x", "@x", "\tx", "＝1"])
def test_no_export_lets_a_text_run_in_a_spreadsheet(tmp_path, text):
    from fleet.ingest.records import list_records
    from fleet.present.export import as_csv

    log = tmp_path / "visits.csv"
    log.write_text(f'visit_id,equipment_id,reported_at,notes\nV1,U1,soon,"{text}"\nV2,U2,2024-06-01,x\n')
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=LOADED_ON)
    for exported in (write_refused(find_records(store, "quarantined")), as_csv(list_records(store, "quarantined"))):
        for row in csv.reader(io.StringIO(exported, newline="")):
            assert not any(cell.startswith(("=", "+", "@", "\t", "＝")) or cell == "-x" for cell in row)
