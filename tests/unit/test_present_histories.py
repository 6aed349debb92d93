"""What pages read of a small typed log: one unit's history, places in walking order, failures by day."""

import datetime as dt

import pandas as pd
import pytest
from small_logs import histories_of, kept, unit, visit

from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.present import one_unit
from fleet.present.places import in_walking_order, only, place_name, read_places
from fleet.trade.capacitor import judge_run_reading


def reading(key, component, value, stage="found"):
    return {"visit_id": key, "component": component, "stage": stage, "value": value, "unit": "uF"}


@pytest.fixture(scope="module")
def histories(tmp_path_factory):
    """Two properties; the unit at A was replaced in 2023, its new one was read twice; B is a priority home."""
    return histories_of(
        tmp_path_factory.mktemp("present"),
        coverage=[kept("2022-01-01", "2024-12-31"), kept("2022-01-01", "2024-12-31", "Elm Row")],
        buildings=[
            {"property": "Oak Row", "building": "10", "walk_order": 1, "has_shelf": "yes"},
            {"property": "Oak Row", "building": "2", "walk_order": 2, "has_shelf": "no"},
            {"property": "Elm Row", "building": "1", "walk_order": 1, "has_shelf": "yes"},
        ],
        equipment=[
            unit("A", building="10", installed_on="2010-05-01", retired_on="2023-04-30"),
            unit("A", building="10", apartment="7", installed_on="2023-05-01", tolerance_pct=5, tons=2),
            unit("B", building="2", priority_home="yes"),
            unit("C", property="Elm Row", herm_uf="", fan_uf="", start_uf_min=88, start_uf_max=108),
        ],
        visits=[
            visit("V1", "A", "2022-07-01 18:00", finding="run capacitor", outcome="cooling restored", technician="W"),
            visit("V2", "A", "2023-04-30", finding="compressor", outcome="unit replaced", vendor="Cold Firm"),
            visit("V3", "A", "2024-03-10", call_type="preventive maintenance", notes="=1+1 [look](http://x.example)"),
            visit("V4", "A", "2024-07-04", finding="no fault found", after_hours="yes"),
            visit("V5", "A", "2024-07-20", finding="contactor", refrigerant_added_oz=8),
            visit("V6", "B", "2023-06-01", finding="wiring"),
        ],
        readings=[
            reading("V1", "herm", 30.0), reading("V3", "herm", 38.4), reading("V3", "fan", 5.1),
            reading("V5", "herm", 36.8), reading("V5", "herm", 40.2, "new"),
        ],
        parts_used=[
            {"visit_id": "V1", "part_no": "RC-405", "component": "run capacitor", "why": "failed", "lot": "22W01"},
            {"visit_id": "V5", "part_no": "CT-1", "component": "contactor", "quantity": 2, "why": "failed"},
        ],
    )  # fmt: skip


@pytest.fixture(scope="module")
def a(histories):
    return one_unit.read_unit(histories, "A")


def test_a_unit_comes_with_its_place_and_every_visit_latest_first(a):
    assert (a.property, a.building, a.apartment) == ("Oak Row", "10", "7")
    assert list(a.visits["visit_id"]) == ["V5", "V4", "V3", "V2", "V1"]
    assert list(a.calls()["visit_id"]) == ["V5", "V4", "V2", "V1"]
    assert len(a.units) == 2


def test_readings_are_measured_against_their_rating(a):
    off = dict(zip(zip(a.readings["visit_id"], a.readings["stage"], strict=True), a.readings["off_pct"], strict=True))
    assert off["V1", "found"] == pytest.approx(-25.0)
    assert off["V5", "new"] == pytest.approx(0.5)


def test_the_last_readings_are_those_of_the_unit_that_hangs_there_now(a):
    last = one_unit.last_readings(a).set_index("section")
    assert last.loc["herm", "value_uf"] == 40.2
    assert last.loc["fan", "value_uf"] == 5.1
    assert last.loc["herm", "advice"] == judge_run_reading(40.2, 40.0, 5.0).advice == "leave"


def test_the_sentence_counts_calls_and_says_the_last_readings(a):
    assert one_unit.unit_sentence(a) == (
        "A has had 4 call visits since July 1, 2022, the last on July 20, 2024 (contactor); last read: compressor "
        "section (herm) 40.2 of 40 µF (+0.5 %), fan section 5.1 of 5 µF (+2.0 %)."
    )


def test_a_unit_without_readings_or_visits_says_so(histories):
    assert one_unit.unit_sentence(one_unit.read_unit(histories, "B")).endswith(
        "no capacitor reading of it is in the log."
    )
    assert one_unit.unit_sentence(one_unit.read_unit(histories, "C")) == "C has no visit in the log."


def test_visits_are_written_out_with_what_was_read_and_fitted(a):
    lines = {line["day"]: line for line in one_unit.visit_lines(a)}
    assert lines["July 1, 2022"]["summary"] == (
        "Found: run capacitor, cooling restored. Done: fitted run capacitor RC-405 (failed, lot 22W01); "
        "herm found 30 µF (-25.0 %). (W)"
    )
    last = lines["July 20, 2024"]
    assert "fitted 2 × contactor CT-1 (failed)" in last["done"]
    assert "added 8 oz refrigerant" in last["done"]
    assert lines["July 4, 2024"]["call"] == "no cooling, after hours"
    assert lines["April 30, 2023"]["who"] == "Cold Firm"
    assert lines["March 10, 2024"]["found"] == "nothing written down"


def test_a_visit_that_belongs_to_an_earlier_fault_is_marked(histories):
    # V5 follows the no-fault visit of 16 days before, but opens its own chain: nothing was found then
    rows = one_unit.read_unit(histories, "A").visits.set_index("visit_id")
    assert not rows.loc["V1", "follows_an_earlier_visit"]


def test_a_reading_in_hand_is_judged_by_the_plate(a):
    assert one_unit.judge(a, "herm", 37.9).advice == "measure again"  # 5.25 % below, 5 % marked
    assert one_unit.judge(a, "herm", 38.1).advice == "leave"
    assert one_unit.judge(a, "fan", 4.0).advice == "change"
    assert one_unit.judge(a, "start", 95.0) is None


def test_a_start_capacitor_is_judged_by_its_range_and_an_unrated_section_not_at_all(histories):
    c = one_unit.read_unit(histories, "C")
    assert one_unit.judge(c, "start", 80.0).advice == "change"
    assert one_unit.judge(c, "herm", 30.0) is None


def test_the_data_plate_leaves_out_what_is_not_known(a, histories):
    lines = one_unit.plate_lines(a)
    assert lines[0] == "Where: Oak Row, building 10, apartment 7"
    assert "Run capacitor, compressor section: 40 µF" in lines
    assert "Installed: May 1, 2023" in lines
    assert "2 units have hung at this tag; this is the last one." in lines
    assert not any("warranty" in line for line in lines)
    assert one_unit.priority_line(a) == ""
    assert one_unit.priority_line(one_unit.read_unit(histories, "B")).startswith("Priority home: heat is a danger")


def test_an_unknown_tag_is_refused_by_name(histories):
    with pytest.raises(AnalysisError, match="no unit is known at the tag 'Z9'"):
        one_unit.read_unit(histories, "Z9")


def test_failure_days_count_a_chain_once(histories):
    days = one_unit.read_failure_days(histories, ["A", "B"])
    assert days.groupby("equipment_id").size().to_dict() == {"A": 3, "B": 1}
    assert set(days["component"]) == {"run capacitor", "compressor", "contactor", "wiring"}


def test_buildings_come_in_walking_order_not_by_name(histories):
    places = read_places(histories)
    assert places.properties() == ("Elm Row", "Oak Row")
    assert places.buildings("Oak Row") == ("10", "2")
    assert places.buildings() == ()
    assert places.units("Oak Row", "2") == ("B",)
    assert places.units() == ("A", "B", "C")
    assert places.window == (dt.date(2022, 1, 1), dt.date(2024, 12, 31))
    units = places.walk.set_index(["property", "building"])["units"]
    assert units["Oak Row", "10"] == 1


def answer(rows):
    table = pd.DataFrame(rows)
    columns = tuple(AnswerColumn(name=str(name), kind="text", meaning="") for name in table.columns)
    return Answer(name="x", as_of=dt.date(2026, 1, 1), method="", n_used=1, table=table, columns=columns, notes=("n",))


def test_an_answer_keeps_the_rows_of_one_place_and_all_its_notes():
    whole = answer([
        {"property": "", "building": "", "n": 3}, {"property": "Oak Row", "building": "2", "n": 1},
        {"property": "Oak Row", "building": "10", "n": 2},
    ])  # fmt: skip
    assert list(only(whole, "Oak Row").table["n"]) == [1, 2]
    assert list(only(whole, "Oak Row", "10").table["n"]) == [2]
    assert list(only(whole).table["n"]) == [3, 1, 2]
    assert only(whole, "Oak Row").notes == ("n",)
    assert list(only(whole, "Fir Row").table["n"]) == []


def test_an_answer_that_tells_no_properties_apart_is_kept_whole():
    assert (
        len(only(answer([{"property": "", "meter": "M1"}, {"property": "", "meter": "M2"}]), "Oak Row", "2").table) == 2
    )


def test_shelves_count_as_buildings():
    whole = answer(
        [{"property": "Oak Row", "location": "2", "n": 1}, {"property": "Oak Row", "location": "shop", "n": 2}]
    )
    assert list(only(whole, "Oak Row", "2").table["n"]) == [1]


def test_rows_are_put_in_walking_order_and_unknown_places_last(histories):
    table = pd.DataFrame({"property": "Oak Row", "location": ["shop", "2", "10"], "n": [1, 2, 3]})
    assert list(in_walking_order(table, read_places(histories), place="location")["location"]) == ["10", "2", "shop"]


def test_places_are_named():
    assert place_name("Juniper", "3") == "Juniper 3"
    assert place_name("", "3") == "building 3"
