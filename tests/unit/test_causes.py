"""Hints at causes not yet looked at: each rule speaks at its threshold, and is silent below it or once looked at."""

import datetime as dt

import pytest
from scipy import stats
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.cause_rules import LARGEST_CHANCE, RULES
from fleet.analysis.causes import COLUMNS, look_for_causes
from fleet.errors import AnalysisError
from fleet.trade.cautions import CAUTIONS, cautions_on

FLEET = 40
"""Quiet units beside U0, so that its repeats are unusual."""


def log_of(folder, visits, *, parts=(), u0=None, as_of=None, extra=()):
    return histories_of(
        folder,
        as_of=as_of,
        coverage=[kept("2019-01-01", "2024-12-31")],
        equipment=[
            unit("U0", installed_on="2012-01-01", **(u0 or {})),
            *(unit(f"Q{n}", installed_on="2012-01-01") for n in range(FLEET)),
        ],
        visits=[*visits, *extra],
        **({"parts_used": list(parts)} if parts else {}),
    )


def days(finding, *dates, tag="U0", **cells):
    return [visit(f"{tag}-{finding[:4]}-{date}", tag, date, finding=finding, **cells) for date in dates]


def hints(histories, tag="U0"):
    return look_for_causes(histories, tag).to_frame().set_index("hint")


def rule(word):
    return next(r for r in RULES if word in r.hint)


def test_two_capacitors_without_fan_motor_work_point_at_the_fan_motor(tmp_path):
    histories = log_of(tmp_path, days("run capacitor", "2022-07-01", "2024-06-10"))
    answer = look_for_causes(histories, "U0")
    table = answer.to_frame()
    assert list(table.columns) == [c.name for c in COLUMNS]
    row = table.set_index("hint").loc[rule("fan motor").hint]
    assert row["events"] == 2
    assert (row["first_on"], row["last_on"]) == (dt.date(2022, 7, 1), dt.date(2024, 6, 10))
    assert "run capacitor twice (2022-07-01, 2024-06-10) in 3.0 years" in row["evidence"]
    assert row["evidence"].endswith("no work on fan motor since the first of them.")
    # two failures of 41 units in the same time
    assert row["usual_events"] == pytest.approx(2 / (FLEET + 1), rel=1e-3)
    assert row["chance"] == pytest.approx(stats.poisson.sf(1, 2 / (FLEET + 1)), rel=1e-3)
    assert row["cautions"] == "capacitor, live test"
    assert row["basis"] == rule("fan motor").basis
    for caution in cautions_on("capacitor", "live test", "general"):
        assert caution.text in answer.notes


def test_once_looked_at_the_hint_is_silent(tmp_path):
    visits = [*days("run capacitor", "2022-07-01", "2024-06-10"), *days("fan motor", "2023-07-01")]
    assert rule("fan motor").hint not in hints(log_of(tmp_path, visits)).index


def test_work_before_the_first_event_silences_nothing(tmp_path):
    visits = [*days("run capacitor", "2022-07-01", "2024-06-10"), *days("fan motor", "2021-07-01")]
    assert rule("fan motor").hint in hints(log_of(tmp_path, visits)).index


def test_what_lies_more_than_three_years_back_is_no_evidence(tmp_path):
    assert hints(log_of(tmp_path, days("run capacitor", "2020-07-01", "2024-06-10"))).empty


def test_nothing_later_than_the_as_of_day_is_evidence(tmp_path):
    visits = days("run capacitor", "2022-07-01", "2024-06-10")
    assert hints(log_of(tmp_path, visits, as_of=dt.date(2024, 5, 1))).empty


def test_one_chain_is_one_event(tmp_path):
    assert hints(log_of(tmp_path, days("run capacitor", "2024-06-10", "2024-06-20", "2024-07-05"))).empty


def test_repeats_that_the_whole_fleet_has_are_no_hint(tmp_path):
    """Every unit lost two contactors in three years: so would chance."""
    extra = [v for n in range(FLEET) for v in days("contactor", "2022-07-01", "2024-06-10", tag=f"Q{n}")]
    histories = log_of(tmp_path, days("contactor", "2022-07-01", "2024-06-10"), extra=extra)
    assert hints(histories).empty
    assert stats.poisson.sf(1, 2) > LARGEST_CHANCE


def test_three_top_ups_without_a_part_point_at_a_leak(tmp_path):
    topped = [
        visit(f"T{n}", "U0", date, finding="refrigerant leak", refrigerant_added_oz=12)
        for n, date in enumerate(("2022-06-01", "2023-06-01", "2024-06-01"))
    ]
    row = hints(log_of(tmp_path / "a", topped)).loc[rule("leak").hint]
    assert row["events"] == 3
    assert "no part fitted for refrigerant leak since" in row["evidence"]
    assert row["cautions"] == "refrigerant"
    assert hints(log_of(tmp_path / "b", topped[1:])).empty
    valve = [{"visit_id": "T1", "component": "refrigerant leak", "part_no": "VC", "why": "failed"}]
    assert rule("leak").hint not in hints(log_of(tmp_path / "c", topped, parts=valve)).index


def test_a_kit_added_before_more_trouble_points_at_the_compressor(tmp_path):
    visits = [
        visit("K", "U0", "2022-05-01", finding="run capacitor"),
        visit("B1", "U0", "2023-07-01", call_type="breaker trip"),
        *days("hard start", "2024-07-01"),
    ]
    kit = [{"visit_id": "K", "component": "hard start", "part_no": "KIT", "why": "upgrade"}]
    row = hints(log_of(tmp_path / "a", visits, parts=kit)).loc[rule("kit").hint]
    assert row["events"] == 2
    assert "after a kit was added on 2022-05-01 (breaker trip 2023-07-01, hard start 2024-07-01)" in row["evidence"]
    assert "compressor" in row["cautions"]
    # without the kit, or with the trouble before it, there is nothing to hide behind
    assert rule("kit").hint not in hints(log_of(tmp_path / "b", visits)).index
    before = [visit("K", "U0", "2024-08-01", finding="run capacitor"), *visits[1:]]
    assert rule("kit").hint not in hints(log_of(tmp_path / "c", before, parts=kit)).index


def test_two_kits_that_failed_point_at_line_voltage(tmp_path):
    """Only units with a kit say what is usual: among forty quiet ones two failures surprise, alone they don't."""
    dates = ("2022-07-01", "2024-06-10")
    kit = {"start_uf_min": 88, "start_uf_max": 108}
    many = histories_of(
        tmp_path / "a",
        coverage=[kept("2019-01-01", "2024-12-31")],
        equipment=[unit(f"U{n}", installed_on="2012-01-01", **kit) for n in range(41)],
        visits=days("hard start", *dates),
    )
    row = hints(many).loc[rule("line voltage").hint]
    assert row["usual_events"] == pytest.approx(2 / 41, rel=1e-3)
    assert row["cautions"] == "capacitor, live test, breaker"
    assert hints(log_of(tmp_path / "b", days("hard start", *dates), u0=kit)).empty


@pytest.mark.parametrize(
    ("finding", "word"), [("contactor", "control voltage"), ("dirty coil", "coil that fouls"), ("drain clog", "drain")]
)
def test_plain_repeats(tmp_path, finding, word):
    found = hints(log_of(tmp_path, days(finding, "2022-07-01", "2024-06-10")))
    assert list(found.index) == [rule(word).hint]


def test_no_fault_found_twice_is_a_fault_that_comes_and_goes(tmp_path):
    found = hints(log_of(tmp_path, days("no fault found", "2023-07-01", "2024-06-10")))
    assert list(found.index) == [rule("comes and goes").hint]


def test_trips_nobody_explained(tmp_path):
    trips = [
        visit(f"B{n}", "U0", date, call_type="breaker trip") for n, date in enumerate(("2023-07-01", "2024-06-10"))
    ]
    assert list(hints(log_of(tmp_path / "a", trips)).index) == [rule("breaker that trips").hint]
    explained = [*trips, *days("wiring", "2024-06-12")]
    assert hints(log_of(tmp_path / "b", explained)).empty
    # the same trip called in again within the chain's days is one
    days_apart = ("2024-06-01", "2024-06-10")
    again = [visit(f"B{n}", "U0", date, call_type="breaker trip") for n, date in enumerate(days_apart)]
    assert hints(log_of(tmp_path / "c", again)).empty


def test_capacitors_that_die_within_a_year(tmp_path):
    visits = days("run capacitor", "2022-03-01", "2022-10-01", "2023-06-01")
    parts = [
        {"visit_id": v["visit_id"], "component": "run capacitor", "part_no": "RC", "why": "failed"} for v in visits
    ]
    row = hints(log_of(tmp_path, visits, parts=parts)).loc[rule("die young").hint]
    assert row["events"] == 2
    assert (row["first_on"], row["last_on"]) == (dt.date(2022, 10, 1), dt.date(2023, 6, 1))


def test_the_last_unit_at_a_tag_answers_for_itself(tmp_path):
    visits = [
        *days("contactor", "2022-07-01"),
        visit("R", "U0", "2023-01-10", finding="compressor", outcome="unit replaced"),
        *days("contactor", "2024-06-10"),
    ]
    assert hints(log_of(tmp_path, visits)).empty


def test_nothing_found_is_said(tmp_path):
    answer = look_for_causes(log_of(tmp_path, days("wiring", "2023-07-01")), "U0")
    assert len(answer.table) == 0
    assert list(answer.table.columns) == [c.name for c in COLUMNS]
    assert answer.notes[0].startswith("Nothing in the 1 event of U0 over 3.0 years passes a threshold")
    assert answer.to_dict()["rows"] == []


def test_smallest_log_and_unknown_tag(tmp_path):
    histories = one_visit(tmp_path)
    assert look_for_causes(histories, "U1").to_frame().empty
    with pytest.raises(AnalysisError, match="no unit has the tag 'u1'"):
        look_for_causes(histories, "u1")


def test_every_rule_says_what_it_rests_on_and_has_cautions():
    topics = {caution.topic for caution in CAUTIONS}
    for each in RULES:
        assert each.fewest >= 2
        assert set(each.topics) <= topics
        assert "no source" in each.basis or "read" in each.basis
        assert each.look_at.endswith(".")
    assert len({each.hint for each in RULES}) == len(RULES)
