"""Lives of parts out of a log: whose birth is known, how long each was watched, what ended it."""

import math

import numpy as np
import pandas as pd
import pytest
from small_logs import histories_of, kept, unit, visit

from fleet.analysis.life_data import ENDINGS, lives_of, read_lives
from fleet.errors import AnalysisError, SchemaError

CAP = "run capacitor"


def call(key, day, tag="U1", finding=CAP, **cells):
    return visit(key, tag, day, finding=finding, **cells)


def part(key, why="failed", component=CAP, **cells):
    return {"visit_id": key, "part_no": "P1", "component": component, "why": why, **cells}


def lives_in(folder, visits, parts, *, by=(), **tables):
    tables.setdefault("equipment", [unit("U1", installed_on="2015-01-01")])
    tables.setdefault("coverage", [kept("2020-01-01", "2023-12-31")])
    histories = histories_of(folder, visits=visits, parts_used=parts, **tables)
    frame = read_lives(histories, by)
    histories.close()
    return frame[frame["component"] == CAP].reset_index(drop=True)


def test_the_first_part_is_of_unknown_birth_and_the_next_is_known(tmp_path):
    frame = lives_in(tmp_path, [call("V1", "2021-01-01")], [part("V1", lot="A7")])
    assert frame["birth"].tolist() == ["bounded", "known"]
    assert frame["ended"].tolist() == ["failed", "in service"]
    assert frame["at_most"][0] == pytest.approx(5.0, abs=0.01)
    assert frame["watched"].tolist() == pytest.approx([366 / 365.25, 1095 / 365.25])
    assert frame["entry_age"][1] == 0.0
    assert (frame["part_no"][1], frame["lot"][1]) == ("P1", "A7")


def test_a_unit_of_unknown_age_has_a_part_of_unknown_birth(tmp_path):
    frame = lives_in(tmp_path, [call("V1", "2021-01-01")], [part("V1")], equipment=[unit("U1")])
    assert frame["birth"][0] == "unknown"
    assert np.isnan(frame["at_most"][0])


def test_a_part_is_carried_over_a_short_gap_at_its_known_age(tmp_path):
    coverage = [kept("2020-01-01", "2021-06-30"), kept("2021-08-01", "2023-12-31")]
    frame = lives_in(tmp_path, [call("V1", "2021-01-01")], [part("V1")], coverage=coverage)
    assert frame["birth"].tolist() == ["bounded", "known", "carried"]
    assert frame["ended"].tolist() == ["failed", "log gap", "in service"]
    assert frame["entry_age"][2] == pytest.approx(212 / 365.25)
    lives = lives_of(frame)
    assert lives.born.tolist() == [True, False]
    assert lives.known.entry.tolist() == pytest.approx([0.0, 212 / 365.25])
    assert len(lives.safe) == 1


def test_a_part_of_unknown_birth_is_known_not_to_have_been_changed_before_a_short_gap(tmp_path):
    coverage = [kept("2020-01-01", "2021-06-30"), kept("2021-08-01", "2023-12-31")]
    frame = lives_in(tmp_path, [call("V1", "2022-01-01")], [part("V1")], coverage=coverage)
    assert frame["birth"].tolist() == ["bounded", "bounded", "known"]
    assert frame["quiet"].tolist() == pytest.approx([0.0, 578 / 365.25, 0.0])
    assert frame["at_most"][1] == pytest.approx(2404 / 365.25)


def test_a_long_gap_hides_a_life(tmp_path):
    coverage = [kept("2020-01-01", "2021-06-30"), kept("2022-06-01", "2023-12-31")]
    frame = lives_in(tmp_path, [call("V1", "2021-01-01")], [part("V1")], coverage=coverage)
    assert frame["birth"].tolist() == ["bounded", "known", "lost"]
    lives = lives_of(frame)
    assert (lives.lost, len(lives.known), len(lives.unknown)) == (1, 1, 1)


def test_a_failure_found_on_a_round_lies_between_two_looks(tmp_path):
    visits = [
        call("V1", "2020-06-01", finding=""),
        call("V2", "2021-04-01", call_type="preventive maintenance"),
    ]
    frame = lives_in(tmp_path, visits, [part("V2")])
    assert frame["found_since"][0] == pytest.approx(152 / 365.25)
    lives = lives_of(frame)
    assert lives.unknown.low[0] == pytest.approx(152 / 365.25)
    assert lives.unknown.high[0] == pytest.approx(456 / 365.25)
    # a failure that was called in is dated by the call
    called = lives_in(tmp_path / "called", [visits[0], call("V2", "2021-04-01")], [part("V2")])
    assert np.isnan(called["found_since"][0])


def test_a_failure_that_takes_the_unit_is_marked(tmp_path):
    visits = [call("V1", "2021-04-01", finding="compressor", outcome="unit replaced")]
    tables = {"catalogue": [{"part_no": "C9", "component": "compressor"}]}
    histories = histories_of(
        tmp_path, visits=visits, equipment=[unit("U1", installed_on="2015-01-01")],
        coverage=[kept("2020-01-01", "2023-12-31")], **tables,
    )  # fmt: skip
    frame = read_lives(histories)
    histories.close()
    gone = frame[(frame["component"] == "compressor") & (frame["ended"] == "failed")]
    assert gone["unit_went"].tolist() == [True]
    assert lives_of(frame[frame["component"] == "compressor"]).unit_goes == 1.0


def test_groups_come_as_text_from_the_unit_or_the_part(tmp_path):
    frame = lives_in(tmp_path, [call("V1", "2021-01-01")], [part("V1", lot="A7")], by=["model_family", "lot", "tons"])
    assert frame["by_model_family"].tolist() == ["A", "A"]
    assert frame["by_lot"].tolist() == ["unknown", "A7"]
    assert frame["by_tons"].tolist() == ["unknown", "unknown"]


def test_an_unknown_column_is_named(tmp_path):
    with pytest.raises(SchemaError, match="'color' is not a column to group by"):
        lives_in(tmp_path, [call("V1", "2021-01-01")], [part("V1")], by=["color"])


def rows(*lives):
    names = ("unit_id", "birth", "entry_age", "at_most", "quiet", "watched", "ended", "found_since", "unit_went")
    return pd.DataFrame([dict(zip(names, life, strict=True)) for life in lives])


WEAK = rows(
    (1, "known", 0.0, np.nan, 0.0, 3.0, "weak", np.nan, False),
    (1, "known", 0.0, np.nan, 0.0, 2.0, "failed", np.nan, False),
    (2, "known", 0.0, np.nan, 0.0, 4.0, "preventive", np.nan, False),
    (3, "bounded", np.nan, 8.0, 0.0, 1.0, "weak", np.nan, False),
    (4, "bounded", np.nan, 6.0, 0.0, 2.0, "in service", np.nan, False),
)


@pytest.mark.parametrize(
    ("ending", "low", "high", "removals"),
    [
        (ENDINGS[0], [3.0, 2.0, 4.0], [4.5, 2.0, math.inf], 1),
        (ENDINGS[1], [3.0, 2.0, 4.0], [3.0, 2.0, math.inf], 1),
        (ENDINGS[2], [3.0, 2.0, 4.0], [math.inf, 2.0, math.inf], 3),
    ],
)
def test_a_weak_part_three_ways(ending, low, high, removals):
    lives = lives_of(WEAK, ending=ending, look_ahead_years=1.5)
    assert lives.known.low.tolist() == low
    assert lives.known.high.tolist() == high
    assert lives.removal_rate == pytest.approx(removals / 12.0)
    assert lives.known_weak.tolist() == [True, False, False]
    assert lives.weak_presumed == (ending == ENDINGS[0])


def test_the_curve_takes_a_weak_part_as_failing_midway():
    lives = lives_of(WEAK, look_ahead_years=1.5)
    assert lives.curve_leave.tolist() == [3.75, 2.0, 4.0]
    assert lives.curve_failed.tolist() == [True, True, False]


def test_a_small_group_leans_on_all_for_removals_and_unit_ages():
    group = WEAK[WEAK["unit_id"] == 3]
    lives = lives_of(group, like=WEAK)
    assert lives.removal_rate == pytest.approx(1 / 12.0)
    assert lives.unit_ages.tolist() == [6.0, 8.0]


@pytest.mark.parametrize("settings", [{"ending": "worn"}, {"look_ahead_years": 0.0}])
def test_unusable_settings_are_named(settings):
    with pytest.raises(AnalysisError, match="choose one of failed, failed or weak"):
        lives_of(WEAK, **settings)
