"""Every rule by its name: what it finds, and that no name is used that the list of rules doesn't have."""

import datetime as dt
import re
from pathlib import Path

import pytest
from small_logs import unit, visit, write_log

from fleet.ingest.load import load_log
from fleet.ingest.rules import DOES, ENDINGS, RULES, words_of
from fleet.store.snapshots import Store

ROOT = Path(__file__).parents[2]
LOADED_ON = dt.date(2025, 1, 1)
DAY = "2024-06-01"

GOOD = {
    "equipment": [unit("U1"), unit("U2", building="2"), unit("U3", start_uf_min=88, start_uf_max=108)],
    "visits": [visit("V1", "U1", "2024-05-01 10:00")],
    "catalogue": [
        {"part_no": "RC-40/5", "component": "run capacitor", "herm_uf": 40, "fan_uf": 5, "fits": "A"},
        {"part_no": "RC-55", "component": "run capacitor", "herm_uf": 55},
        {"part_no": "FM-Z", "component": "fan motor", "fits": "Z"},
    ],
}


def reading(value, component="herm", **cells):
    return {"visit_id": "V1", "component": component, "stage": "found", "value": value, **cells}


def part(**cells):
    return {"visit_id": "V1", "component": "contactor", **cells}


def called(tag="U1", reported="2024-06-02 10:00", **cells):
    return visit("V9", tag, reported, **cells)


CASES = [
    # refused
    ("reported_in_future", "visits", [called(reported="2025-02-01")]),
    ("unknown_unit", "visits", [called("Z9")]),
    ("unknown_unit", "occupancy", [{"equipment_id": "Z9", "vacant_from": DAY}]),
    ("visit_unknown", "readings", [reading(38, visit_id="V8")]),
    ("visit_unknown", "parts_used", [part(visit_id="V8")]),
    ("visit_quarantined", "readings", [reading(38, visit_id="V9")]),
    ("retired_before_installed", "equipment", [unit("U9", installed_on=DAY, retired_on="2020-01-01")]),
    ("vacant_to_before_vacant_from", "occupancy",
     [{"equipment_id": "U1", "vacant_from": DAY, "vacant_to": "2024-01-01"}]),
    ("to_date_before_from_date", "coverage", [{"property": "Oak Row", "from_date": DAY, "to_date": "2024-01-01"}]),
    ("value_missing", "readings", [reading("")]),
    ("unit_unknown", "readings", [reading(38, unit="ohm")]),
    ("component_unknown_word", "readings", [reading(38, component="left one")]),
    ("stage_unknown_word", "readings", [reading(38, stage="between")]),
    ("method_unknown_word", "readings", [reading(38, method="by ear")]),
    # fixed
    ("tag_spelling", "visits", [called("u-01")]),
    ("building_spelling", "buildings", [{"property": "Oak Row", "building": "02", "walk_order": 1}]),
    ("property_spelling", "weather", [{"property": "oak row", "date": DAY, "high_f": 90, "low_f": 70}]),
    ("part_spelling", "parts_used", [part(part_no="rc 40/5", component="run capacitor")]),
    ("family_spelling", "equipment", [unit("U9", model_family="a")]),
    ("technician_spelling", "visits",
     [called(technician="R. Vale"), visit("V8", "U2", "2024-06-03", technician="R. Vale"),
      visit("V7", "U2", "2024-06-09", technician="r vale")]),
    ("vendor_spelling", "visits",
     [called(vendor="Cool Air"), visit("V8", "U2", "2024-06-03", vendor="Cool Air"),
      visit("V7", "U2", "2024-06-09", vendor="COOLAIR")]),
    ("meter_spelling", "readings", [reading(39, meter="M 1"), reading(5, "fan", meter="M 1"),
                                    reading(39, stage="left", meter="m1")]),
    ("millifarad_slip", "readings", [reading(39, unit="mF")]),
    ("decimal_slip", "readings", [reading(390)]),
    ("sections_swapped", "readings", [reading(5), reading(39, "fan")]),
    ("ratings_swapped", "equipment", [unit("U9", herm_uf=5, fan_uf=40)]),
    ("range_reversed", "equipment", [unit("U9", start_uf_min=108, start_uf_max=88)]),
    ("zero_rating", "equipment", [unit("U9", start_uf_min=0, start_uf_max=0)]),
    ("celsius_column", "visits",
     [visit(f"V{i}", "U2", f"2024-06-0{i}", indoor_f=28 + i) for i in range(2, 9)]),
    # flagged
    ("negative_money", "visits", [called(labor_cost=-5)]),
    ("negative_money", "parts_used", [part(unit_cost=-5)]),
    ("times_out_of_order", "visits", [called(arrived_at=DAY)]),
    ("times_in_future", "visits", [called(finished_at="2025-03-01")]),
    ("outside_service", "visits", [called("U9", "2019-06-01")]),
    ("property_unknown", "weather", [{"property": "Elsewhere", "date": DAY, "high_f": 90, "low_f": 70}]),
    ("same_time_twice", "visits", [called(), visit("V8", "U1", "2024-06-02 10:00")]),
    ("two_places_at_once", "visits",
     [called(technician="R. Vale", arrived_at="2024-06-02 11:05"),
      visit("V8", "U2", "2024-06-02", technician="R. Vale", arrived_at="2024-06-02 11:05")]),
    ("labor_unlikely", "visits", [called(labor_minutes=2000)]),
    ("indoor_unlikely", "visits", [called(indoor_f=850)]),
    ("refrigerant_unlikely", "visits", [called(refrigerant_added_oz=900)]),
    ("money_unlikely", "visits", [called(other_cost=90000)]),
    ("installed_in_future", "equipment", [unit("U9", installed_on="2026-01-01")]),
    ("rating_unlikely", "equipment", [unit("U9", herm_uf=450)]),
    ("unit_in_two_buildings", "equipment",
     [unit("U1", building="2", installed_on="2020-01-01")]),
    ("tag_in_two_properties", "equipment", [unit("U9"), unit("U9", property="Elm Row")]),
    ("part_fits_no_such_unit", "parts_used", [part(part_no="FM-Z", component="fan motor")]),
    ("part_fits_no_such_unit", "parts_used", [part(part_no="RC-55", component="run capacitor")]),
    ("quantity_unlikely", "parts_used", [part(quantity=500)]),
    ("implausible_reading", "readings", [reading(80)]),
    ("zero_not_measured", "readings", [reading(0), reading(0, "fan"), reading(38, stage="left")]),
    ("call_type_unknown_word", "visits", [called(call_type="ghosts")]),
    ("finding_unknown_word", "visits", [called(finding="gremlin")]),
    ("outcome_unknown_word", "visits", [called(outcome="prayed")]),
    ("component_unknown_word", "parts_used", [part(component="gizmo")]),
    ("compressor_type_unknown_word", "equipment", [unit("U9", compressor_type="steam")]),
    ("why_unknown_word", "parts_used", [part(why="because")]),
    # duplicates and blanks
    ("same_row", "visits", [called(), called()]),
    ("older_version", "visits", [called(), called(notes="x")]),
    ("empty row", "visits", [dict.fromkeys(called(), "")]),
    ("repeated header", "visits", [{name: name for name in called()}]),
    ("totals row", "visits", [{**dict.fromkeys(called(), ""), "visit_id": "Total"}]),
]  # fmt: skip

COVERED_ELSEWHERE = {
    "quote_not_closed": "tests/unit/test_csv_repair.py",
    "quote_misplaced": "tests/unit/test_csv_repair.py",
    "too_many_fields": "tests/unit/test_csv_repair.py",
    "too_few_fields": "tests/unit/test_csv_repair.py",
    "nul_byte": "tests/unit/test_csv_repair.py",
    "line_too_long": "tests/unit/test_csv_repair.py",
    "empty line": "tests/unit/test_csv_repair.py",
    "above the header": "tests/unit/test_mapped_loads.py",
    "said_the_same": "tests/unit/test_mapped_loads.py",
    "unit_converted": "tests/unit/test_read_values.py",
    "time_without_date": "tests/unit/test_read_values.py",
    "offset_dropped": "tests/unit/test_read_values.py",
    "farad_slip": "tests/unit/test_value_microfarads.py",
    "built from visits": "tests/unit/test_load.py",
}


def told(folder, **tables):
    """Load a log and return (table, rule, does) of everything said of its records."""
    store = Store(folder / "store")
    report = load_log(write_log(folder / "log", **tables), store, loaded_on=LOADED_ON)
    assert all(account.balanced for account in report.accounts)
    found = {(table, reason, standing) for table, standing, reason, _ in report.reasons}
    return found | {(table, rule, "kept") for table, rule, _ in report.notices}


@pytest.mark.parametrize(("rule", "table", "rows"), CASES, ids=lambda case: case if isinstance(case, str) else "")
def test_a_rule_finds_its_records_and_does_what_it_says(tmp_path, rule, table, rows):
    tables = {name: list(own) for name, own in GOOD.items()}
    tables[table] = [*tables.get(table, []), *rows]
    if rule == "visit_quarantined":
        tables["visits"] = [*tables["visits"], called(labor_cost="ten")]
    if rule == "outside_service":
        tables["equipment"] = [*tables["equipment"], unit("U9", installed_on="2020-01-01")]
    found = told(tmp_path, **tables)
    standing = {"refused": "quarantined", "duplicate": "duplicate", "blank": "blank"}.get(RULES[rule].does, "kept")
    if rule == "component_unknown_word":  # it refuses a reading and flags a part
        standing = "quarantined" if table == "readings" else "kept"
    assert (table, rule, standing) in found
    extra = {name for _, name, _ in found} - {rule}
    assert extra <= {"visit_quarantined", "labor_cost_not_money", "celsius_column"} | _follows(rule)


def _follows(rule):
    """Return what a case can't help but show beside its own rule."""
    return {
        "reported_in_future": set(),
        "visit_quarantined": {"labor_cost_not_money"},
        "implausible_reading": set(),
        "tag_in_two_properties": {"older_version"},
        "zero_not_measured": set(),
        "rating_unlikely": set(),
    }.get(rule, set())


def test_a_good_log_has_nothing_said_of_it(tmp_path):
    assert told(tmp_path, **GOOD) == set()


def test_every_rule_has_a_case():
    missing = set(RULES) - {rule for rule, _, _ in CASES} - set(COVERED_ELSEWHERE)
    assert missing == set()


@pytest.mark.parametrize(("rule", "file"), COVERED_ELSEWHERE.items())
def test_a_rule_said_to_be_covered_elsewhere_is(rule, file):
    assert rule in (ROOT / file).read_text(encoding="utf-8")


def test_every_name_the_checks_use_is_in_the_list():
    used = set()
    for file in (ROOT / "fleet" / "ingest").rglob("*"):
        if file.suffix == ".sql":
            text = file.read_text(encoding="utf-8")
            used |= set(re.findall(r"'([a-z_]+(?:_[a-z]+)+): ", text))
            used |= set(re.findall(r"reason = '([a-z_ ]+)'", text))
    assert used - set(RULES) == set()
    assert len(used) > 20


def test_a_rule_says_what_it_does_and_means():
    assert all(rule.does in DOES and rule.words for rule in RULES.values())
    assert all(words_of(f"labor_minutes{ending}") == words for ending, words in ENDINGS.items())
    assert words_of("nothing of the kind") == ""
