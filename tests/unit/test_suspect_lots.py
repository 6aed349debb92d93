"""Parts of bad lots still in service, and what may still be claimed from the maker."""

import datetime as dt

import numpy as np
import pytest
from small_logs import histories_of, one_visit, unit
from test_lots import WINDOW, fitted, lot_log

from fleet.analysis.suspect_lots import CARRIED_COLUMNS, CLAIM_COLUMNS, list_claims, list_suspect_parts


def test_units_that_still_carry_a_bad_lot_come_with_what_to_do_first(tmp_path):
    log = lot_log(bad_failures=8, good_failures=1)
    for row in log["equipment"]:
        row["priority_home"] = "yes" if row["equipment_id"] in ("A15", "A18", "B3") else "no"
    answer = list_suspect_parts(histories_of(tmp_path, **log))
    table = answer.to_frame()
    assert list(table.columns) == [column.name for column in CARRIED_COLUMNS]
    # twenty of lot A were fitted, eight have failed; lot B isn't suspect
    assert sorted(table["equipment_id"]) == sorted(f"A{k}" for k in range(8, 20))
    assert table["equipment_id"].tolist()[:2] == ["A15", "A18"]
    assert (table["fitted_on"] == dt.date(2020, 3, 1)).all()
    assert table["age_years"].to_numpy() == pytest.approx((dt.date(2025, 1, 1) - dt.date(2020, 3, 1)).days / 365.25)
    assert (table["chance"] >= table["usual_chance"]).all()
    assert answer.notes[0].startswith("12 parts of 1 suspect lot are in service")
    assert any("holds its charge" in note for note in answer.notes)


def test_the_chance_by_hand(tmp_path):
    # a young bad lot: fitted 100 days before the end, when the others show a failure in each of the first bands
    log = lot_log(bad_failures=9, good_failures=2)
    log["coverage"] = [dict(WINDOW[0], to_date="2020-09-10")]
    table = list_suspect_parts(histories_of(tmp_path, **log)).to_frame()
    # 193 days old; the year to come lies 172 days in the band to a year and the rest where no part was yet: blank
    assert table["chance"].isna().all()
    assert (table["note"] == "no other part of that age was at risk").all()


def test_no_bad_lot_no_suspect(tmp_path):
    answer = list_suspect_parts(histories_of(tmp_path, **lot_log(bad_failures=2)))
    assert answer.to_frame().empty
    assert answer.notes[0] == "No lot is named as failing more than the others, so no part is suspect by its lot."
    assert list_suspect_parts(one_visit(tmp_path / "one")).to_frame().empty


def claim_log():
    events = [
        fitted("V1", "U1", "2022-05-01", "L1", why="failed"),  # in U1's warranty, no credit: open
        fitted("V2", "U2", "2022-05-01", "L1", why="failed"),  # warranty past, not marked: none
        fitted("V3", "U3", "2022-05-01", "L1", why="failed"),  # marked, no warranty known: open, day unknown
        fitted("V4", "U1", "2022-08-01", "L1", why="failed"),  # credit came
        fitted("V5", "U1", "2023-05-01", "L1", why="preventive"),  # not failed
        fitted("V6", "U4", "2020-05-01", "L1", why="failed"),  # in warranty then, past by now
    ]
    events[2][1]["warranty"] = "yes"
    events[3][1].update(credit="12.50", unit_cost="15")
    for event in (events[0], events[5]):
        event[1]["unit_cost"] = "15"
    until = {"U1": "2026-01-31", "U2": "2021-12-31", "U4": "2021-01-31"}
    return {
        "visits": [event[0] for event in events],
        "parts_used": [event[1] for event in events],
        "equipment": [unit(tag, warranty_until=until.get(tag, "")) for tag in ("U1", "U2", "U3", "U4")],
        "coverage": WINDOW,
    }


def test_claims_are_failed_parts_in_warranty_without_a_credit(tmp_path):
    answer = list_claims(histories_of(tmp_path, **claim_log()))
    table = answer.to_frame()
    assert list(table.columns) == [column.name for column in CLAIM_COLUMNS]
    assert table["visit_id"].tolist() == ["V1", "V3", "V6"]
    assert table["in_time"].tolist() == ["yes", "", "no"]
    assert table["claim_by"].tolist()[0] == dt.date(2026, 1, 31)
    assert table["why"].tolist() == ["the unit's parts warranty ran", "marked as paid by the maker",
                                     "the unit's parts warranty ran"]  # fmt: skip
    assert float(table["money"].iloc[0]) == 15.0
    assert np.isnan(float(table["money"].iloc[1]))
    assert "no unit cost recorded" in table["note"].iloc[1]
    assert answer.notes[0].startswith("1 of 3 can still be claimed by the day the log knows, for 15.00")


def test_no_claim(tmp_path):
    answer = list_claims(one_visit(tmp_path))
    assert answer.to_frame().empty
    assert answer.notes[0].startswith("No failed part without a credit")
