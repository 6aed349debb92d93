"""Hours without cooling, parts waited for and refrigerant, said in one sentence with their numbers."""

import datetime as dt

import numpy as np
import pandas as pd

from fleet.answer import Answer, AnswerColumn
from fleet.present.sentences import opening

AS_OF = dt.date(2025, 12, 31)


def answer(name, rows, **more):
    table = pd.DataFrame(rows)
    columns = tuple(AnswerColumn(name=str(column), kind="text", meaning="") for column in table.columns)
    return Answer(name=name, as_of=AS_OF, method="", n_used=1, table=table, columns=columns, **more)


WAIT = {
    "property": "", "homes": "all", "calls": 1295, "median_hours": 13.2, "low": 12.0, "high": 14.0, "hours": 42_573.0,
    "part_hours": 22_120.0,
}  # fmt: skip
FIRST = WAIT | {"homes": "priority", "calls": 79, "median_hours": 4.1, "low": 3.5, "high": 9.3}


def test_waits_say_the_median_beside_that_of_priority_homes():
    assert opening(answer("waits", [FIRST, WAIT])) == (
        "Half of 1,295 calls had cooling back within about 13 hours, 12 to 14; in priority homes within about 4 hours, "
        "4 to 9; 52 % of all hours went on waiting for a part."
    )
    assert "priority" not in opening(answer("waits", [WAIT]))


def test_waits_by_a_column_name_where_most_hours_went():
    rows = [WAIT | {"month": "2024-07", "hours": 900.0}, WAIT | {"month": "2024-08", "hours": 1200.0}]
    assert opening(answer("waits", rows, settings={"by": ("month",)})) == (
        "Homes went about 2,100 hours without cooling; most in 2024-08, about 1,200 hours."
    )


def test_waits_without_a_median_say_why():
    found = answer("waits", [WAIT | {"median_hours": np.nan}], notes=("Too few have ended.",))
    assert opening(found) == "There isn't enough in the log to answer this yet. Too few have ended."


def test_part_waits_name_the_part_that_costs_most_hours():
    whole = {
        "component": "", "calls": 1295, "waited": 131, "median_hours": 168.6, "median_low": 164.7, "median_high": 178.1,
        "share_of_hours": 0.52,
    }  # fmt: skip
    most = whole | {"component": "compressor", "waited": 33, "share_of_hours": 0.122}
    assert opening(answer("part waits", [whole, most])) == (
        "131 calls of 1,295 waited for a part, half of them over about 169 hours, 165 to 178; most hours went on the "
        "compressor (12 % of all hours without cooling)."
    )
    assert opening(answer("part waits", [whole], notes=("None waited.",))) == "None waited."
    short = [whole | {"median_hours": np.nan}, most]
    assert "waited for a part; most hours" in opening(answer("part waits", short))


HOME = {"equipment_id": "A", "priority_home": "no", "hours": 900.0, "calls": 2, "waiting_now": "no"}


def test_homes_name_the_priority_home_that_waited_longest():
    rows = [
        HOME | {"equipment_id": "B", "priority_home": "yes", "hours": 411.7, "calls": 4},
        HOME | {"equipment_id": "C", "priority_home": "yes", "hours": 20.0, "waiting_now": "yes"},
        HOME,
    ]
    assert opening(answer("home waits", rows)) == (
        "1 home waits for a part now; 3 homes went without cooling, 2 of them priority homes; longest without it was "
        "the priority home at B, about 410 hours in 4 calls."
    )
    assert opening(answer("home waits", [HOME])) == (
        "1 home went without cooling; longest without it was the home at A, about 900 hours in 2 calls."
    )


UNIT = {"equipment_id": "A", "top_ups": 3, "top_up_oz": 160.0, "alert": "yes"}


def test_refrigerant_is_always_an_indicator():
    rows = [UNIT, UNIT | {"equipment_id": "B", "top_ups": 1, "top_up_oz": 16.0, "alert": "no"}]
    found = opening(answer("refrigerant", rows, settings={"repeated": 3}))
    assert found == (
        "2 of 2 units took about 11 pounds of refrigerant for leaks; A was topped up 3 times or more with no part of "
        "the circuit fitted; the percentages are an indicator, not a compliance result."
    )
    quiet = opening(answer("refrigerant", rows[1:], settings={"repeated": 3}))
    assert "none of them 3 times without a repair; the percentages are an indicator" in quiet
    none = answer("refrigerant", [UNIT | {"top_ups": 0}], notes=("No refrigerant was added.",))
    assert opening(none).endswith("No refrigerant was added.")


def test_pounds_to_order_are_said_by_refrigerant():
    row = {"refrigerant": "R-410A", "mean_lb": 46.0, "low": 27.0, "high": 68.0, "additions": 142}
    rows = [row, row | {"refrigerant": "R-22", "mean_lb": 8.6, "low": 2.1, "high": 17.6}]
    rows.append(row | {"refrigerant": "not recorded", "mean_lb": 0.4, "additions": 0})
    assert opening(answer("refrigerant order", rows)) == (
        "The next 12 months will likely take about 50 pounds, 30 to 70, of R-410A and about 9 pounds, 2 to 18, of R-22."
    )
    assert opening(answer("refrigerant order", rows[2:])).startswith("There isn't enough in the log")
