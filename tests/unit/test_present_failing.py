"""What keeps failing, in words: records, prospects, hints with their cautions, one unit's page as text."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from small_logs import histories_of, kept, unit, visit

from fleet.analysis.causes import look_for_causes
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.present.failing_words import first_hint, prospect, standing, trend_of
from fleet.present.one_unit import read_unit
from fleet.present.sentences import opening
from fleet.present.tables import as_text
from fleet.present.unit_answers import (
    READING_COLUMNS,
    VISIT_COLUMNS,
    hints_of,
    list_unit_readings,
    list_unit_visits,
)
from fleet.present.unit_text import hint_lines, hints_said, judged_reading, unit_text
from fleet.trade.cautions import CAUTIONS

AS_OF = dt.date(2026, 3, 1)


def answer(name, rows, **more):
    table = pd.DataFrame(rows)
    columns = tuple(AnswerColumn(name=str(column), kind="text", meaning="") for column in table.columns)
    return Answer(name=name, as_of=AS_OF, method="", n_used=1, table=table, columns=columns, **more)


def bad(**cells):
    return {
        "equipment_id": "A", "p_bad": 0.97, "past_rate": 3.1, "expected_calls": 1.23, "low": 0, "high": 4,
        "avoided_calls": 0.71, "avoided_low": 0.2, "avoided_high": 1.3, "note": "",
        "evidence": "12 calls in 3.9 years where 2.0 are usual; wiring twice.", **cells,
    }  # fmt: skip


def test_a_unit_s_prospect_sets_what_it_had_beside_what_to_expect_and_what_mending_saves():
    assert prospect(bad()) == (
        "It had 3.1 calls a year; expect about 1.2 (0 to 4) next year, about 0.7 fewer (0.2 to 1.3) if it were brought "
        "to its kind's usual."
    )
    assert prospect(bad(avoided_calls=0.01)).endswith("and mending it would save next to none of them.")
    assert prospect(bad(expected_calls=np.nan, note="under one unit-year in the log")) == (
        "under one unit-year in the log"
    )


def test_a_unit_s_standing_is_a_chance_with_its_record():
    said = standing(answer("units", [bad()]), "A")
    assert said.startswith(
        "The chance that it truly fails over twice as often as its kind is 97 %; visits for one fault taken as one, 12 "
        "calls in 3.9 years where 2.0 are usual; wiring twice. It had 3.1 calls a year;"
    )
    assert standing(answer("units", [bad(p_bad=np.nan, note="under three units")]), "A") == "under three units"
    assert standing(answer("units", [bad()]), "B") == ""


def point(**cells):
    return {
        "component": "wiring", "segment": 1, "day": dt.date(2025, 12, 4), "years": 5.9, "mean_failures": 0.234,
        "low": 0.2, "high": 0.28, **cells,
    }  # fmt: skip


def test_a_curve_says_how_many_failures_a_unit_has_had_by_when_and_the_verdict():
    rows = [point(years=2.0, mean_failures=0.1), point(), point(segment=2, years=9.0, mean_failures=0.01)]
    by_date = answer("recurrence", rows, notes=("No trend.",), settings={"clock": "calendar"})
    assert opening(by_date) == (
        "From the log's first day to December 4, 2025 a unit has had about 0.23 wiring failures, 0.20 to 0.28. "
        "No trend."
    )
    by_age = answer("recurrence", rows, notes=("No trend.",), settings={"clock": "age"})
    assert opening(by_age).startswith("By an age of 5.9 years a unit has had about 0.23 wiring failures")
    none = answer("recurrence", [point(mean_failures=np.nan)], notes=("It can't be told.",), settings={})
    assert opening(none) == "It can't be told."


def trend(component, factor=1.04, verdict="can't tell", **cells):
    return {
        "component": component, "yearly_factor": factor, "low": factor - 0.05, "high": factor + 0.05,
        "verdict": verdict, "note": "", **cells,
    }  # fmt: skip


def test_trends_name_components_only_after_all_were_looked_at():
    told = answer("trends", [trend("wiring", 1.2, "more frequent"), trend("contactor"), trend("", 1.1)])
    assert opening(told) == (
        "1 of 2 components shows a trend: wiring (more frequent, 1.20 times as often each year, 1.15 to 1.25). All "
        "failures together show no trend that can be told from none: 1.10 times as often each year, 1.05 to 1.15."
    )
    none = answer("trends", [trend("wiring"), trend("", np.nan, note="under 10 failures")])
    assert opening(none) == (
        "No single component's trend can be told from none. All failures together: under 10 failures."
    )
    assert trend_of(told, "wiring") == (
        "Failures of the wiring grow more frequent: 1.20 times as often each year, 1.15 to 1.25."
    )


@pytest.fixture(scope="module")
def histories(tmp_path_factory):
    """Forty quiet units and two that repeat: U0 its capacitor and contactor, U1 its drain."""
    repeats = [
        visit("V1", "U0", "2022-03-01", finding="run capacitor", outcome="cooling restored", technician="Ash"),
        visit("V2", "U0", "2022-09-01", finding="contactor", notes="pitted"),
        visit("V3", "U0", "2023-04-01", finding="run capacitor"),
        visit("V4", "U0", "2023-06-10", finding="contactor", after_hours="yes"),
        visit("V5", "U1", "2022-06-10", finding="drain clog"),
        visit("V6", "U1", "2023-06-10", finding="drain clog"),
    ]
    built = histories_of(
        tmp_path_factory.mktemp("failing"),
        coverage=[kept("2021-01-01", "2023-12-31")],
        equipment=[unit(f"U{n}", installed_on="2018-01-01", apartment=f"{n}") for n in range(42)],
        visits=repeats,
        readings=[
            {"visit_id": "V1", "component": "herm", "stage": "as found", "measured_uf": 33, "rated_uf": 40},
            {"visit_id": "V3", "component": "herm", "stage": "as found", "measured_uf": 39, "rated_uf": 40},
        ],
        parts_used=[{"visit_id": "V1", "component": "run capacitor", "part_no": "RC-405", "quantity": 1,
                     "why": "failed"}],
    )  # fmt: skip
    yield built
    built.close()


def test_visits_and_readings_of_a_unit_are_answers(histories):
    visits = list_unit_visits(histories, "U0")
    assert list(visits.table.columns) == [column.name for column in VISIT_COLUMNS]
    assert visits.table["visit_id"].tolist() == ["V4", "V3", "V2", "V1"]
    first = visits.table.iloc[-1]
    assert (first["finding"], first["who"], first["outcome"]) == ("run capacitor", "Ash", "cooling restored")
    assert first["done"] == "fitted run capacitor RC-405 (failed); herm found 33 µF (-17.5 %)"
    assert visits.table["notes"].tolist() == ["", "", "pitted", ""]
    assert opening(visits) == "U0 has had 4 visits, the last on June 10, 2023."
    readings = list_unit_readings(histories, "U0")
    assert list(readings.table.columns) == [column.name for column in READING_COLUMNS]
    assert readings.table["advice"].tolist() == ["", "leave"]
    assert opening(readings) == "By the last readings of U0: herm leave (-2.5 % from its rating, tolerance 6 %)."
    assert max(map(len, as_text(readings).splitlines())) <= 80


def test_a_unit_never_visited_or_unknown_is_said(histories):
    assert opening(list_unit_visits(histories, "U9")) == "U9 has no visit in the log."
    assert opening(list_unit_readings(histories, "U9")).startswith("No run-capacitor reading of U9")
    assert "U9 has no visit in the log." in unit_text(histories, "U9")
    with pytest.raises(AnalysisError, match="no unit is known at the tag 'X'"):
        list_unit_visits(histories, "X")


def test_hints_of_several_units_come_with_evidence_basis_and_cautions(histories):
    causes = look_for_causes(histories, ["U0", "U1", "U2"])
    assert causes.table["equipment_id"].tolist() == ["U0", "U0", "U1"]
    assert opening(causes).startswith("Of 3 units 2 have repeats that point at a cause nobody has looked at yet;")
    assert opening(look_for_causes(histories, ["U2", "U3"])) == (
        "At none of 2 units do repeats point at a cause nobody has looked at yet."
    )
    alone = look_for_causes(histories, "U0").table
    pd.testing.assert_frame_equal(alone, causes.table[causes.table["equipment_id"] == "U0"].reset_index(drop=True))
    said = first_hint(causes, "U1")
    assert said.startswith("Not looked at yet: a drain that was cleared and never put right. Drain clog twice (2022")
    assert said.endswith("Basis: common practice, no source.")
    assert first_hint(causes, "U2") == ""


def test_each_caution_stands_with_the_first_hint_it_belongs_to(histories):
    hints = hints_of(look_for_causes(histories, "U0"), "U0")
    assert {hint.cause for hint in hints} == {
        "A fan motor that runs hot or slow and heats the capacitor beside it",
        "Control voltage that sags or a thermostat that chatters, wearing contactors out",
    }
    texts = [caution.text for hint in hints for caution in hint.cautions]
    assert len(texts) == len(set(texts))
    assert set(texts) == {c.text for c in CAUTIONS if c.topic in ("capacitor", "contactor", "live test")}
    lines = hint_lines(hints[0])
    assert lines[1].startswith("Where to look: Measure")
    assert lines[2].startswith("Basis: ")


def test_the_history_of_a_unit_fits_a_page_cautions_before_hints(histories):
    text = unit_text(histories, "U0", section="herm", reading_uf=36.5)
    assert max(map(len, text.splitlines())) <= 80
    order = [text.index(part) for part in (
        "U0 has had 4 call visits", "compressor section (herm), 36.5 µF: measure again.", "The data plate",
        "Before you reach in", "Not looked at yet", "Where to look:", "Readings so far", "What was done here",
        "June 10, 2023.", "Method:",
    )]  # fmt: skip
    assert order == sorted(order)
    assert "its rating isn't in the log" in judged_reading(read_unit(histories, "U0"), "start", 90.0)


def test_no_hint_is_said_in_the_words_of_the_answer(histories):
    causes = look_for_causes(histories, "U2")
    assert hints_said(causes) == causes.notes[0]
    assert causes.notes[0] == "The log has no event at U2 in 3.0 years that could point at a cause."
    assert "A hint is a place to look" in hints_said(look_for_causes(histories, "U1"))
