"""Which kinds fail more, in words and as a picture."""

import datetime as dt

import pandas as pd
import pytest

from fleet.answer import Answer, AnswerColumn
from fleet.present.kinds import alerts_sentence, kind_rows, kinds_picture


def rates(rows, **settings):
    names = ["component", "model_family", "failures", "shrunk_rate", "shrunk_low", "shrunk_high", "ratio", "ratio_low",
             "ratio_high", "adjusted_ratio", "alert"]  # fmt: skip
    table = pd.DataFrame(rows, columns=names)
    text = ("component", "model_family", "alert")
    columns = tuple(AnswerColumn(name=n, kind="text" if n in text else "number", meaning=n) for n in names)
    return Answer(
        name="rates", as_of=dt.date(2025, 12, 31), table=table, columns=columns, n_used=1, method="",
        settings={"by": ("model_family",), **settings},
    )  # fmt: skip


BAD = ("run capacitor", "M3R", 67, 0.16, 0.13, 0.19, 2.4, 1.9, 3.1, 2.2, "yes")
GOOD = ("run capacitor", "K4R", 20, 0.06, 0.04, 0.08, 0.8, 0.6, 1.2, 0.9, "no")
UNKNOWN = ("run capacitor", "unknown", 3, 0.3, 0.1, 0.5, 3.0, 1.0, 6.0, float("nan"), "no")
ALL = ("", "M3R", 200, 0.7, 0.6, 0.8, 1.3, 1.1, 1.5, 1.2, "yes")


def test_kinds_that_fail_more_come_with_ratio_and_interval():
    said = alerts_sentence(rates([BAD, GOOD, ALL]))
    assert "M3R in run capacitor" in said
    assert "1.9 to 3.1" in said
    assert "2.2 at like age, season and place" in said
    assert "K4R" not in said


def test_nothing_more_often_is_said():
    assert alerts_sentence(rates([GOOD])) == "No model family fails more often in any component than chance allows."


def test_rows_are_those_of_one_component_and_named_kinds_largest_first():
    answer = rates([GOOD, UNKNOWN, BAD, ALL])
    assert kind_rows(answer, "run capacitor")["kind"].tolist() == ["M3R", "K4R"]
    assert kind_rows(answer, "")["kind"].tolist() == ["M3R"]


@pytest.mark.parametrize(("clock", "unit"), [("calendar", "failures per unit-year"), ("heat", "year's heat")])
def test_the_picture_says_the_worst_and_the_unit(clock, unit):
    shown = kinds_picture(rates([GOOD, BAD], clock=clock), "run capacitor")
    assert shown[0].said.startswith("Most often in M3R, run capacitor: ")
    assert unit in shown[0].chart.to_json()
    assert kinds_picture(rates([GOOD]), "contactor") == []
