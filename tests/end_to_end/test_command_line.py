"""Every command on the demo log: exit codes, one-line failures, and tables, CSV, JSON and Python that agree exactly."""

import csv
import dataclasses
import io
import json
import math
import subprocess
import sys

import pandas as pd
import pytest

from fleet import __version__
from fleet.analysis.callbacks import count_callbacks
from fleet.analysis.cause_chains import find_cause_chains
from fleet.analysis.causes import look_for_causes
from fleet.analysis.cluster_power import weigh_scan
from fleet.analysis.cluster_watch import watch_clusters
from fleet.analysis.clusters import scan_clusters
from fleet.analysis.costs import count_costs
from fleet.analysis.drift import estimate_drift
from fleet.analysis.failure_trends import compare_trends
from fleet.analysis.home_waits import list_home_waits
from fleet.analysis.life import estimate_life
from fleet.analysis.life_curve import split_life_ends, trace_life_curve
from fleet.analysis.lots import screen_lots
from fleet.analysis.meters import estimate_meters
from fleet.analysis.months import compare_months
from fleet.analysis.new_parts import count_bad_new_parts
from fleet.analysis.part_waits import count_part_waits
from fleet.analysis.rates import estimate_rates
from fleet.analysis.refrigerant_order import forecast_refrigerant
from fleet.analysis.refrigerant_use import track_refrigerant
from fleet.analysis.repeated_events import describe_recurrence
from fleet.analysis.seasons import describe_seasons
from fleet.analysis.suspect_lots import list_claims, list_suspect_parts
from fleet.analysis.units import find_failing_units
from fleet.analysis.waits import measure_waits
from fleet.answer import Answer
from fleet.histories.summary import list_failures, list_spells, summarise_histories
from fleet.planning.demand import forecast_demand
from fleet.planning.stock import plan_stock
from fleet.present.chain_lines import list_callback_runs
from fleet.present.unit_answers import list_unit_readings, list_unit_visits

# the columns every answer has at least, as the project's contract lists them
COLUMNS = {
    "rates": "property component failures unit_years rate low high shrunk_rate shrunk_low shrunk_high ratio ratio_low "
    "ratio_high adjusted_ratio adjusted_low adjusted_high alert note",
    "life": "property component spells failures shape shape_low shape_high scale scale_low scale_high median "
    "median_low median_high b10 b10_low b10_high ending model note",
    "drift": "property equipment_id section rated_uf pct low high slope_pct_per_year leaves_tolerance_low "
    "leaves_tolerance leaves_tolerance_high advice note",
    "meters": "property meter readings bias_pct low high note",
    "callbacks": "property by value calls returned expected share low high note",
    "units": "property equipment_id building calls unit_years expected_calls low high p_bad evidence",
    "clusters": "property building component from_date to_date observed expected ratio p_value alert",
    "lots": "property part_no lot fitted failed expected ratio p_value alert",
    "demand": "property building part_no component why mean q05 q50 q95 note",
    "stock": "property location part_no component on_hand on_order target to_order unit_cost cost p_short order_by",
    "costs": "property month building cause labor parts refrigerant other credit total after_hours estimated note",
}

ASKED = {
    "rates": (["rates", "--by", "compressor_type", "--component", "hard start"], lambda h: estimate_rates(
        h, by=["compressor_type"], component="hard start")),
    "life": (["life", "--by", "compressor_type", "--component", "hard start"], lambda h: estimate_life(
        h, by=["compressor_type"], component="hard start")),
    "life curve": (["life", "--component", "contactor", "--curve"], lambda h: trace_life_curve(h, "contactor")),
    "life ends": (["life", "--component", "contactor", "--ends"], lambda h: split_life_ends(h, "contactor")),
    "mid-P rates by heat": (["rates", "--component", "contactor", "--interval", "mid-p", "--clock", "heat"],
                            lambda h: estimate_rates(h, component="contactor", interval="mid-p", clock="heat")),
    "recurrence": (["recurrence", "--component", "contactor", "--clock", "age"], lambda h: describe_recurrence(
        h, component="contactor", clock="age")),
    "trends": (["recurrence", "--trends"], compare_trends),
    "causes": (["causes", "QC08-203", "QC11-107"], lambda h: look_for_causes(h, ["QC08-203", "QC11-107"])),
    "drift": (["drift"], estimate_drift),
    "meters": (["meters"], estimate_meters),
    "callbacks": (["repeats", "--only", "callbacks"], count_callbacks),
    "units": (["repeats", "--only", "units"], find_failing_units),
    "clusters": (["repeats", "--only", "clusters"], scan_clusters),
    "lots": (["repeats", "--only", "lots"], screen_lots),
    "runs": (["repeats", "--only", "runs"], list_callback_runs),
    "chains": (["repeats", "--only", "chains"], find_cause_chains),
    "months by building": (["repeats", "--only", "months"], compare_months),
    "watch": (["repeats", "--only", "watch"], watch_clusters),
    "power": (["repeats", "--only", "power"], weigh_scan),
    "suspects": (["repeats", "--only", "suspects"], list_suspect_parts),
    "claims": (["repeats", "--only", "claims"], list_claims),
    "new parts": (["new-parts", "--limit", "0.1", "--tolerance", "5"], lambda h: count_bad_new_parts(
        h, limit_share=0.1, tolerance_pct=5.0)),
    "refrigerant": (["refrigerant", "--repeated", "2"], lambda h: track_refrigerant(h, repeated=2)),
    "refrigerant order": (["refrigerant", "--order", "--seed", "7"], lambda h: forecast_refrigerant(h, seed=7)),
    "waits": (["waits", "--level", "0.8"], lambda h: measure_waits(h, level=0.8)),
    "waits by": (["waits", "--by", "property, year"], lambda h: measure_waits(h, by=["property", "year"])),
    "part waits": (["waits", "--parts"], count_part_waits),
    "home waits": (["waits", "--homes"], list_home_waits),
    "costs": (["costs"], count_costs),
    "seasons": (["seasons"], describe_seasons),
    "histories": (["histories"], summarise_histories),
    "spells": (["histories", "--what", "spells"], list_spells),
    "failures": (["histories", "--what", "failures"], list_failures),
}  # fmt: skip


@pytest.fixture(autouse=True)
def in_an_empty_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


@pytest.fixture(scope="session")
def answers(demo_histories, worked_out):
    """Each answer as Python gives it."""

    def remembered(function):
        return worked_out.get((function.__module__, function.__name__), function)

    def ask(name):
        if name in ASKED:
            return remembered(ASKED[name][1])(demo_histories)
        demand = remembered(forecast_demand)(demo_histories)
        return demand.answer if name == "demand" else plan_stock(demo_histories, demand).answer

    return ask


def words_of(name):
    return ASKED[name][0] if name in ASKED else [name]


def same_cell(text, value):
    """Whether a cell of a CSV file is exactly the value of the Python table."""
    if value is None or value is pd.NaT or (isinstance(value, float) and math.isnan(value)):
        return text == ""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(text) == float(value)
    if isinstance(value, pd.Timestamp):
        return text == value.date().isoformat()
    return text.removeprefix("'") == str(value) or float_or_none(text) == float_or_none(value)


def float_or_none(value):
    try:
        return float(value)
    except (TypeError, ValueError):
        return math.nan


@pytest.mark.parametrize("name", [*ASKED, "demand", "stock"])
def test_csv_and_json_are_the_python_answer(name, answers, dogdays, demo_store):
    answer = answers(name)
    frame = answer.to_frame()
    csv_run = dogdays(*words_of(name), "--store", demo_store.path, "--format", "csv")
    json_run = dogdays(*words_of(name), "--store", demo_store.path, "--format", "json")
    assert (csv_run.code, csv_run.err, json_run.code, json_run.err) == (0, "", 0, "")
    header, *rows = csv.reader(io.StringIO(csv_run.out))
    assert header == list(frame.columns)
    assert len(rows) == len(frame)
    for row, values in zip(rows, frame.itertuples(index=False), strict=True):
        assert all(same_cell(text, value) for text, value in zip(row, values, strict=True)), (row, values)
    assert json.loads(json_run.out) == json.loads(json.dumps(answer.to_dict()))
    assert list(Answer.from_dict(json.loads(json_run.out)).table.columns) == list(frame.columns)


@pytest.mark.parametrize("name", COLUMNS)
def test_answers_have_the_promised_columns(name, answers):
    columns = list(answers(name).table.columns)
    missing = [column for column in COLUMNS[name].split() if column not in columns]
    assert missing == []
    assert len(set(columns)) == len(columns)


@pytest.mark.parametrize(
    "words",
    [
        ["rates", "--by", "model_family,compressor_type"],
        ["rates", "--by", "compressor_type", "--component", "hard start"],
        ["life"],
        ["life", "--by", "part_no,lot", "--component", "run capacitor"],
        ["life", "--component", "wiring"],
        ["life", "--component", "run capacitor", "--curve", "--ends", "--by", "compressor_type"],
        ["recurrence"],
        ["recurrence", "--component", "run capacitor", "--clock", "age"],
        ["recurrence", "--trends"],
        ["causes", "QC08-203", "QC11-107"],
        ["unit", "QC08-203", "--section", "fan", "--reading", "4.2"],
        ["drift"],
        ["drift", "--slopes"],
        ["meters"],
        ["repeats"],
        ["repeats", "--only", "runs"],
        ["repeats", "--only", "months"],
        ["repeats", "--only", "claims"],
        ["new-parts"],
        ["refrigerant"],
        ["refrigerant", "--order"],
        ["waits"],
        ["waits", "--by", "property,month"],
        ["waits", "--parts", "--homes"],
        ["seasons"],
        ["costs"],
        ["demand"],
        ["stock"],
        ["histories"],
        ["records"],
        ["records", "--what", "notices"],
    ],
    ids=" ".join,
)
def test_tables_fit_a_terminal_of_80_columns(words, dogdays, demo_store, monkeypatch):
    monkeypatch.chdir(demo_store.path.parent)
    ran = dogdays(*words, "--store", demo_store.path.name)
    assert (ran.code, ran.err) == (0, "")
    lines = ran.out.splitlines()
    assert len(lines) > 5
    assert [line for line in lines if len(line) > 80] == []


def test_out_writes_what_would_be_printed(dogdays, demo_store, tmp_path):
    printed = dogdays("meters", "--store", demo_store.path, "--format", "csv")
    for form in ("csv", "json", "table"):
        file = tmp_path / f"meters.{form}"
        ran = dogdays("meters", "--store", demo_store.path, "--format", form, "--out", file)
        assert (ran.code, ran.out) == (0, f"written to {file}\n")
        assert file.stat().st_size > 200
    assert (tmp_path / "meters.csv").read_text(encoding="utf-8") == printed.out


def test_repeats_gives_its_four_answers_in_turn(dogdays, demo_store):
    ran = dogdays("repeats", "--store", demo_store.path, "--format", "json")
    assert [answer["name"] for answer in json.loads(ran.out)] == ["callbacks", "units", "clusters", "lots"]


def test_repeats_options_reach_the_answer(dogdays, demo_store):
    ran = dogdays("repeats", "--only", "power", "--ratio", "5", "--weeks", "4", "--store", demo_store.path,
                  "--format", "json")  # fmt: skip
    settings = json.loads(ran.out)["settings"]
    assert (settings["ratio"], settings["weeks"]) == (5.0, 4)
    ran = dogdays("repeats", "--only", "runs", "--window", "10", "--store", demo_store.path, "--format", "json")
    answer = json.loads(ran.out)
    assert answer["settings"]["window_days"] == 10
    gaps = [later["days"] - row["days"] for row, later in zip(answer["rows"], answer["rows"][1:], strict=False)
            if row["run"] == later["run"] and row["visits"] == 1]  # fmt: skip
    assert len(gaps) > 20
    assert max(gaps) <= 10


def test_waits_of_parts_and_homes_come_together_and_without_groups(dogdays, demo_store):
    ran = dogdays("waits", "--parts", "--homes", "--store", demo_store.path, "--format", "json")
    assert [answer["name"] for answer in json.loads(ran.out)] == ["part waits", "home waits"]
    ran = dogdays("waits", "--parts", "--by", "month", "--store", demo_store.path)
    assert ran.code == 2
    assert "leave it out with --parts and --homes" in ran.err
    ran = dogdays("waits", "--by", "color", "--store", demo_store.path)
    assert (ran.code, ran.out) == (1, "")
    assert "waits can't be grouped by color; they can by property, building, month" in ran.err


def test_refrigerant_is_never_printed_without_its_warning(dogdays, demo_store):
    said = " ".join(dogdays("refrigerant", "--store", demo_store.path).out.split())
    assert "an indicator, not a compliance result" in said.split("Not shown here")[0]
    assert "Only certified persons may open the refrigerant circuit" in said


def test_options_reach_the_answer(dogdays, demo_store):
    ran = dogdays("rates", "--component", "contactor", "--level", "0.5", "--as-of", "2023-12-31", "--chain-days", "10",
                  "--store", demo_store.path, "--format", "json")  # fmt: skip
    answer = json.loads(ran.out)
    assert answer["as_of"] == "2023-12-31"
    assert answer["settings"]["level"] == 0.5
    assert answer["settings"]["chain_days"] == 10
    assert [row["component"] for row in answer["rows"]] == ["contactor"]


def test_life_options_reach_the_answer(dogdays, demo_store):
    ran = dogdays("life", "--component", "run capacitor", "--by", "property, compressor_type", "--level", "0.5",
                  "--ending", "all", "--births", "in the log", "--look-ahead", "2",
                  "--store", demo_store.path, "--format", "json")  # fmt: skip
    assert (ran.code, ran.err) == (0, "")
    answer = json.loads(ran.out)
    asked = {"by": ["property", "compressor_type"], "component": "run capacitor", "level": 0.5, "ending": "all",
             "births": "in the log", "look_ahead_years": 2.0}  # fmt: skip
    assert {name: answer["settings"][name] for name in asked} == asked
    assert {row["ending"] for row in answer["rows"]} == {"failed", "failed or weak", "failed, weak ignored"}


def test_a_unit_is_its_visits_its_readings_and_its_hints_or_one_page_of_text(dogdays, demo_store, demo_histories):
    ran = dogdays("unit", "QC08-203", "--store", demo_store.path, "--format", "json")
    visits, readings, causes = json.loads(ran.out)
    assert [visits["name"], readings["name"], causes["name"]] == ["unit visits", "unit readings", "causes"]
    asked = (list_unit_visits, list_unit_readings, look_for_causes)
    for found, ask in zip((visits, readings, causes), asked, strict=True):
        assert found == json.loads(json.dumps(ask(demo_histories, "QC08-203").to_dict()))
    text = dogdays("unit", "QC08-203", "--store", demo_store.path).out
    assert len(visits["rows"]) == text.count("Found: ") > 10
    assert all(row["look_at"] in " ".join(text.split()) for row in causes["rows"])
    judged = dogdays("unit", "QC08-203", "--store", demo_store.path, "--section", "fan", "--reading", "4.2").out
    assert "fan section, 4.2 µF: change. 16.0 % below its rating, more than 10 %." in judged
    both = dogdays(
        "unit", "QC08-203", "--store", demo_store.path, "--section", "fan", "--reading", "4", "--format", "csv"
    )
    assert both.code == 2
    assert "leave out --format" in both.err


def test_beside_every_ratio_stands_the_smallest_it_would_have_shown(dogdays, demo_store):
    ran = dogdays("rates", "--by", "model_family", "--component", "compressor", "--store", demo_store.path)
    lines = ran.out.splitlines()
    assert any("ratio" in line and "would show from" in line for line in lines)
    said = " ".join(ran.out.split())
    assert "Beside every ratio stands the smallest true ratio this much data would have shown" in said
    assert "carry how unsure that leaning itself is" in said
    assert "widened where units differ" in said


def test_a_curve_and_what_ends_lives_come_together_when_both_are_asked_for(dogdays, demo_store):
    ran = dogdays(
        "life", "--component", "contactor", "--curve", "--ends", "--store", demo_store.path, "--format", "json"
    )
    assert [answer["name"] for answer in json.loads(ran.out)] == ["life curve", "life ends"]


def test_life_says_what_it_left_out_and_what_it_took_for_granted(dogdays, demo_store):
    ran = dogdays("life", "--component", "metering device", "--by", "lot", "--store", demo_store.path)
    said = " ".join(ran.out.split())
    assert "lives not seen from their birth on" in said
    ran = dogdays("life", "--component", "metering device", "--store", demo_store.path, "--format", "csv")
    assert "Weibull shape about 2 (1.0 to 4.0), median life about 20 years" in ran.out


def test_stock_options_reach_the_plan(dogdays, demo_store):
    ran = dogdays("stock", "--store", demo_store.path, "--format", "json", "--budget", "3000", "--service", "0.9",
                  "--shelves", "shop", "--restock", "refill", "--leftover-share", "0.3", "--shortage-cost", "80",
                  "--shortage-share", "0.5", "--summer", "hot",
                  "--from", "2026-05-01", "--to", "2026-08-31")  # fmt: skip
    assert ran.code == 0, ran.err
    answer = json.loads(ran.out)
    asked = {"budget": 3000.0, "service": 0.9, "shelves": "shop", "restock": "refill", "leftover_share": 0.3,
             "shortage_cost": 80.0, "shortage_share": 0.5, "summer": "hot",
             "from": "2026-05-01", "to": "2026-08-31"}  # fmt: skip
    assert {name: answer["settings"][name] for name in asked} == asked
    assert sum(row["cost"] or 0 for row in answer["rows"]) <= 3000.01


def test_loading_twice_says_nothing_new(dogdays, demo_log, demo_key, tmp_path):
    first = dogdays("load", demo_log, "--store", "s", "--as-of", "2026-03-15")
    assert (first.code, first.err) == (0, "")
    total = sum(account["records"] for account in demo_key["totals"]["files"].values())
    assert first.out.startswith(f"{total:,} records in = ")
    assert [line for line in first.out.splitlines() if len(line) > 80] == []
    again = dogdays("load", demo_log, "--store", "s", "--as-of", "2026-03-15")
    assert again.code == 0
    assert again.out.startswith("Nothing new: these files are loaded already. ")
    strict = dogdays("load", demo_log, "--store", "s", "--as-of", "2026-03-15", "--strict")
    assert strict.code == 3  # records were refused
    rebuilt = dogdays("rebuild", "--store", "s")
    assert rebuilt.code == 0
    assert rebuilt.out.splitlines()[0].endswith(first.out.splitlines()[0])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["rates", "--store", "none"], "nothing is loaded in none; run: dogdays load"),
        (["load", "nowhere"], "nowhere isn't there"),
        (["stock", "--store", "none"], "nothing is loaded in none"),
        (["rates", "--by", "colour", "--store", "DEMO"], "'colour' is not a column to group by; choose from property"),
        (["rates", "--component", "flux", "--store", "DEMO"], "'flux' is not a component"),
        (["life", "--component", "flux", "--store", "DEMO"], "'flux' is not a component that has a part"),
        (["life", "--by", "colour", "--store", "DEMO"], "'colour' is not a column to group by"),
        (["life", "--component", "flux", "--curve", "--store", "DEMO"], "no life of a part 'flux'; it has"),
        (["recurrence", "--component", "flux", "--store", "DEMO"], "'flux' is not a component"),
        (["causes", "XX-1", "--store", "DEMO"], "no unit has the tag 'XX-1'"),
        (["unit", "XX-1", "--store", "DEMO"], "no unit is known at the tag 'XX-1'"),
        (["rates", "--as-of", "2001-01-01", "--store", "DEMO"], "as-of 2001-01-01 lies before the log begins"),
        (["demand", "--from", "2026-04-01", "--store", "DEMO"], "a season needs both its first and its last day"),
        (["demand", "--from", "2020-04-01", "--to", "2020-09-30", "--store", "DEMO"], "plan for days to come"),
        (["stock", "--leftover-share", "0", "--store", "DEMO"], "leftover-share must lie in 0 to 1"),
    ],
)
def test_known_failures_are_one_line(words, said, dogdays, demo_store):
    ran = dogdays(*(demo_store.path if word == "DEMO" else word for word in words))
    assert ran.code == 1
    assert ran.out == ""
    assert ran.err.startswith("dogdays: ")
    assert said in ran.err
    assert ran.err.count("\n") == 1
    assert "Traceback" not in ran.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["rates", "--bye", "building"], "Did you mean '--by'?"),
        (["raets"], "Did you mean one of: 'rates'"),
        (["stock", "--shelves", "attic"], "'attic' is not one of 'building', 'shop'"),
        (["rates", "--level", "2"], "2.0 is not in the range"),
        (["stock", "--service", "1"], "is not in the range"),
        (["rates", "--as-of", "yesterday"], "'yesterday' does not match the format"),
        (["rates", "--interval", "wald"], "'wald' is not one of 'exact', 'mid-p'"),
        (["rates", "--clock", "age"], "'age' is not one of 'calendar', 'heat'"),
        (["recurrence", "--clock", "heat"], "'heat' is not one of 'calendar', 'age'"),
        (["recurrence", "--trends", "--component", "wiring"], "leave out --component or --trends"),
        (["causes"], "Missing argument 'TAG...'"),
        (["unit", "A", "--reading", "40"], "needs both --section and --reading"),
        (["unit", "A", "--section", "cap", "--reading", "40"], "'cap' is not one of 'herm', 'fan', 'start'"),
        (["life", "--curve"], "name it with --component"),
        (["life", "--ending", "worn"], "'worn' is not one of 'failed'"),
        (["life", "--look-ahead", "0"], "is not in the range"),
        (["load"], "Missing argument 'LOG'"),
    ],
)
def test_usage_errors_are_code_2_with_a_hint(words, said, dogdays):
    ran = dogdays(*words)
    assert ran.code == 2
    assert said in ran.err
    assert "Traceback" not in ran.err


def test_another_process_gives_the_same_answer(answers, demo_store):
    """Nothing remembered here: the whole way from the store again, in a fresh process."""
    asked = [sys.executable, "-m", "fleet", "stock", "--store", demo_store.path, "--format", "json"]
    ran = subprocess.run(asked, capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert json.loads(ran.stdout) == json.loads(json.dumps(answers("stock").to_dict()))


def test_version_as_a_module():
    ran = subprocess.run([sys.executable, "-m", "fleet", "--version"], capture_output=True, text=True, check=False)
    assert ran.returncode == 0
    assert ran.stdout.strip().endswith(__version__)
    assert ran.stderr == ""


def test_settings_and_notes_are_printed_with_an_answer(dogdays, demo_store, answers):
    ran = dogdays("meters", "--store", demo_store.path)
    said = " ".join(ran.out.split())
    assert "chain-days 30" in said
    assert "level 0.9" in said
    for note in answers("meters").notes:
        assert " ".join(note.split()) in said.replace(" - ", " ")
    assert f"As of {answers('meters').as_of}" in said
    assert dataclasses.is_dataclass(answers("meters"))
