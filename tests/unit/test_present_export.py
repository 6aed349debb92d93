"""CSV and JSON are exact, and no cell runs in a spreadsheet."""

import csv
import datetime as dt
import io
import json
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest

from fleet.answer import Answer, AnswerColumn
from fleet.ingest.guard import guard
from fleet.present.export import as_csv, as_json


def rows_of(text):
    return list(csv.reader(io.StringIO(text, newline="")))


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝"])
def test_text_that_would_run_in_a_spreadsheet_gets_an_apostrophe(start):
    frame = pd.DataFrame({"notes": [f"{start}1+1", "B-7", "a=b"]})
    assert [row[0] for row in rows_of(as_csv(frame))[1:]] == [f"'{start}1+1", "B-7", "a=b"]


def test_negative_numbers_stay_numbers():
    frame = pd.DataFrame({"pct": [-4.25, 3.0], "n": [-2, 5], "money": [Decimal("-1.50"), Decimal("2.25")]})
    assert rows_of(as_csv(frame))[1:] == [["-4.25", "-2", "-1.50"], ["3", "5", "2.25"]]


def test_a_heading_that_would_run_is_guarded_too():
    assert rows_of(as_csv(pd.DataFrame({"=cmd()": [1]})))[0] == ["'=cmd()"]


def test_numbers_are_written_in_full():
    value = 0.1 + 0.2
    assert float(rows_of(as_csv(pd.DataFrame({"rate": [value]})))[1][0]) == value


def test_blanks_are_empty_and_dates_iso():
    frame = pd.DataFrame(
        {
            "day": [dt.date(2026, 4, 9), None],
            "stamp": pd.to_datetime(["2026-04-09 00:00", None]),
            "at": pd.to_datetime(["2026-04-09 13:05", None]),
            "yes": [True, False],
            "value": [1.5, np.nan],
        }
    )
    assert rows_of(as_csv(frame))[1:] == [
        ["2026-04-09", "2026-04-09", "2026-04-09 13:05:00", "yes", "1.5"],
        ["", "", "", "no", ""],
    ]


def test_quotes_commas_and_line_ends_come_back_as_they_were():
    text = 'said "hot, again"\nsecond line'
    assert rows_of(as_csv(pd.DataFrame({"notes": [text]})))[1] == [text]


def test_an_empty_table_keeps_its_headings():
    assert as_csv(pd.DataFrame({"a": [], "b": []})) == "a,b\n"


def answer():
    columns = (
        AnswerColumn(name="part_no", kind="text", meaning="the part"),
        AnswerColumn(name="mean", kind="number", meaning="expected"),
        AnswerColumn(name="order_by", kind="date", meaning="the day"),
    )
    table = pd.DataFrame({"part_no": ["=A1", "B"], "mean": [1.25, np.nan], "order_by": [dt.date(2026, 4, 9), None]})
    return Answer(
        name="try", as_of=dt.date(2026, 3, 1), method="By hand.", n_used=2, table=table, columns=columns,
        excluded={"vacant": 3}, notes=("One note.",), settings={"level": 0.9},
    )  # fmt: skip


def test_an_answer_goes_to_json_and_back():
    given = answer()
    plain = json.loads(as_json(given))
    assert plain["rows"][0] == {"part_no": "=A1", "mean": 1.25, "order_by": "2026-04-09"}
    assert plain["rows"][1]["mean"] is None
    again = Answer.from_dict(plain)
    assert (again.name, again.n_used, again.notes, dict(again.excluded)) == ("try", 2, ("One note.",), {"vacant": 3})


def test_csv_of_an_answer_is_its_table():
    assert rows_of(as_csv(answer())) == [["part_no", "mean", "order_by"], ["'=A1", "1.25", "2026-04-09"], ["B", "", ""]]


def test_a_bare_table_goes_to_json_as_rows():
    frame = pd.DataFrame(
        {"day": [dt.date(2026, 4, 9), None], "n": [1, 2], "cost": [Decimal("1.5"), None], "x": ["a", ""]}
    )
    assert json.loads(as_json(frame)) == [
        {"day": "2026-04-09", "n": 1, "cost": 1.5, "x": "a"},
        {"day": None, "n": 2, "cost": None, "x": None},
    ]


def test_harmless_text_is_left_alone():
    assert guard("RC-355-44") == "RC-355-44"
    assert guard("") == ""
