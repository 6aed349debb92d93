"""The answer ``life``: its rows, what it says when there is little to say, and that it finds a known truth."""

import json
import math

import numpy as np
import pytest
from scipy import stats
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.life import estimate_life
from fleet.analysis.life_columns import COLUMNS
from fleet.analysis.life_curve import CAUSES, split_life_ends, trace_life_curve
from fleet.analysis.life_data import ENDINGS, lives_of
from fleet.analysis.life_estimate import estimate_lives
from fleet.analysis.life_laws import LAWS
from fleet.errors import AnalysisError, SchemaError
from tests.studies import life_study

CAP = "run capacitor"
FIRST_YEAR, YEARS = 2014, 10


def typed_fleet(units=240, *, seed=1, weak_every=0):
    """Return a log of units installed under watch, their capacitors failing by a Weibull of shape 2.5 and 4 years."""
    rng = np.random.default_rng(seed)
    equipment, visits, parts = [], [], []
    for nth in range(units):
        tag, day = f"U{nth:03d}", np.datetime64(f"{FIRST_YEAR}-01-01") + int(rng.integers(0, 700))
        family = "A" if nth % 2 else "B"
        equipment.append(unit(tag, installed_on=str(day), model_family=family))
        for turn in range(20):
            day = day + max(int(365.25 * 4.0 * rng.weibull(2.5) * (1.0 if family == "A" else 0.6)), 1)
            if day >= np.datetime64(f"{FIRST_YEAR + YEARS}-01-01"):
                break
            key = f"{tag}-{turn}"
            why = "weak" if weak_every and (nth + turn) % weak_every == 0 else "failed"
            visits.append(visit(key, tag, str(day), finding=CAP))
            parts.append({"visit_id": key, "part_no": "P1", "component": CAP, "why": why, "lot": f"L{turn}"})
    coverage = [kept(f"{FIRST_YEAR}-01-01", f"{FIRST_YEAR + YEARS - 1}-12-31")]
    return {"equipment": equipment, "visits": visits, "parts_used": parts, "coverage": coverage}


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    histories = histories_of(tmp_path_factory.mktemp("fleet"), **typed_fleet())
    yield histories
    histories.close()


@pytest.fixture(scope="module")
def weak_fleet(tmp_path_factory):
    histories = histories_of(tmp_path_factory.mktemp("weak"), **typed_fleet(weak_every=3))
    yield histories
    histories.close()


def averages(answer):
    return answer.table[answer.table["model"] == "average"].reset_index(drop=True)


def test_it_finds_the_truth_in_each_group(fleet):
    table = averages(estimate_life(fleet, by=["model_family"], component=CAP))
    assert table["model_family"].tolist() == ["A", "B"]
    for row, scale in zip(table.itertuples(), (4.0, 2.4), strict=True):
        assert row.shape_low < 2.5 < row.shape_high
        assert row.scale_low < scale < row.scale_high
        truth = scale * (-math.log(0.9)) ** (1 / 2.5)
        assert row.b10_low < truth < row.b10_high
        assert row.b10 == pytest.approx(truth, rel=0.1)
        assert row.weight == 1.0


def test_a_row_a_law_the_average_first(fleet):
    answer = estimate_life(fleet, component=CAP)
    assert answer.table["model"].tolist() == ["average", *[law.name for law in LAWS]]
    average, weibull = answer.table.iloc[0], answer.table.iloc[1]
    assert (average["shape"], average["scale"]) == (weibull["shape"], weibull["scale"])
    assert answer.table["weight"][1:].sum() == pytest.approx(1.0)
    assert average["b10_least"] == answer.table["b10"][1:].min()
    assert average["b10_greatest"] == answer.table["b10"][1:].max()
    assert "by law B10 is" in average["note"]
    assert answer.n_used == average["spells"]


def test_unlike_kinds_taken_together_are_weighed_by_their_units(fleet):
    together, apart = (averages(estimate_life(fleet, component=CAP, by=by)) for by in ([], ["model_family"]))
    row = together.iloc[0]
    assert "2 kinds of units weighed by their number" in row["note"]
    # half the units of each family: a part in a unit taken at random
    for column, share in (("b10", 0.1), ("median", 0.5)):

        def failed(age):
            return np.mean([1.0 - math.exp(-((age / scale) ** 2.5)) for scale in (4.0, 2.4)])

        assert failed(row[column]) == pytest.approx(share, abs=0.25 * share)
        assert failed(row[f"{column}_low"]) < share < failed(row[f"{column}_high"])
    assert not apart["note"].str.contains("kinds of units").any()


def test_limits_hold_their_estimates(fleet):
    table = estimate_life(fleet, component=CAP).table
    for name in ("shape", "scale", "median", "b10"):
        assert (table[f"{name}_low"] < table[name]).all()
        assert (table[name] < table[f"{name}_high"]).all()


def test_the_curve_stands_beside_the_law(fleet):
    row = averages(estimate_life(fleet, by=["model_family"], component=CAP)).iloc[0]
    assert row["curve_at_risk"] >= 10
    assert row["curve_low"] <= row["fitted_survival"] <= row["curve_high"]
    assert "leave the limits" not in row["note"]


def test_the_curve_answer_has_its_risk_set(fleet):
    answer = trace_life_curve(fleet, CAP, by=["model_family"])
    table = answer.table[answer.table["model_family"] == "A"].reset_index(drop=True)
    assert table["age"][0] == 0.0
    assert table["at_risk"].iloc[0] >= table["at_risk"].iloc[-1]
    assert table["survival"].is_monotonic_decreasing
    # a correct law stays within a few hundredths of the curve
    assert (table["survival"] - table["weibull"]).abs().max() < 0.08
    assert (table["note"] == "").all()


def test_causes_share_what_ends_lives(weak_fleet):
    table = split_life_ends(weak_fleet, CAP, ages=[2.0, 4.0, 40.0]).table
    assert table["cause"].tolist() == list(CAUSES) * 3
    at_four = table[table["age"] == 4.0].set_index("cause")["share"]
    assert at_four["failed"] > at_four["weak"] > 0.1
    assert at_four.sum() < 1.0
    assert table[table["age"] == 40.0]["share"].isna().all()
    assert "fewer than 10 lives" in table["note"].iloc[-1]


def test_weak_removals_three_ways(weak_fleet):
    table = averages(estimate_life(weak_fleet, component=CAP, ending="all")).set_index("ending")
    assert list(table.index) == list(ENDINGS)
    assert table["failures"][ENDINGS[1]] == table["failures"][ENDINGS[0]] + table["weak"][ENDINGS[0]]
    assert table["b10"][ENDINGS[1]] < table["b10"][ENDINGS[0]] < table["b10"][ENDINGS[2]]
    shown = table.loc["failed"]
    assert shown["b10_weak_failed"] < shown["b10"] < shown["b10_weak_ignored"]


def test_a_longer_look_ahead_makes_longer_lives(weak_fleet):
    short, long = (
        averages(estimate_life(weak_fleet, component=CAP, look_ahead_years=w))["median"][0] for w in (0.2, 3.0)
    )
    assert short < long


def test_by_lot_only_parts_fitted_in_the_log_count(fleet):
    answer = estimate_life(fleet, by=["lot"], component=CAP)
    assert answer.settings["births"] == "in the log"
    assert {"L0", "L1"} <= set(answer.table["lot"])


def test_births_in_the_log_leaves_out_the_others(tmp_path):
    log = typed_fleet()
    # the log begins three years late, so that many parts were in place
    log["coverage"] = [kept(f"{FIRST_YEAR + 3}-01-01", f"{FIRST_YEAR + YEARS - 1}-12-31")]
    histories = histories_of(tmp_path, **log)
    every = estimate_life(histories, component=CAP)
    safe = estimate_life(histories, component=CAP, births="in the log")
    histories.close()
    assert safe.n_used < every.n_used
    assert safe.excluded["lives not seen from their birth on"] == every.n_used - safe.n_used
    both = [averages(answer).iloc[0] for answer in (every, safe)]
    # weighing the two families moves the one by the factor of all lives, the other by that of those born in the log
    assert both[0]["b10_born_in_log"] == pytest.approx(both[1]["b10"], rel=0.02)
    assert "of unknown age" in every.notes[0]
    assert "needed one" in safe.notes[0]


def test_no_failure_is_an_answer_with_its_bound(tmp_path):
    log = typed_fleet(20)
    del log["parts_used"]
    log["visits"] = [visit("V1", "U000", "2020-06-01", finding="dirty coil")]
    log["catalogue"] = [{"part_no": "P1", "component": CAP}]
    histories = histories_of(tmp_path, **log)
    answer = estimate_life(histories, component=CAP)
    histories.close()
    (row,) = answer.table.to_dict("records")
    assert (row["model"], row["failures"]) == ("average", 0)
    assert math.isnan(row["b10"])
    assert row["b10_low"] > 0
    assert math.isnan(row["b10_high"])
    bound = -math.log(0.05) / row["part_years"]
    assert row["most_per_year"] == pytest.approx(bound)
    assert f"at most {bound:.2g} failures per part-year" in row["note"]
    assert "no failure in" in row["note"]


@pytest.mark.parametrize("failures", [1, 2, 3, 4])
def test_few_failures_are_bounded_by_assumed_shapes(tmp_path, failures):
    log = typed_fleet(60)
    keep = {p["visit_id"] for p in log["parts_used"][:failures]}
    log["parts_used"] = [p for p in log["parts_used"] if p["visit_id"] in keep]
    log["visits"] = [v for v in log["visits"] if v["visit_id"] in keep]
    histories = histories_of(tmp_path, **log)
    (row,) = estimate_life(histories, component=CAP).table.to_dict("records")
    histories.close()
    assert row["failures"] == failures
    assert row["b10_low"] < row["b10"] < row["b10_high"]
    assert math.isnan(row["shape"])
    assert f"only {failures} failure" in row["note"]
    assert "assume a Weibull shape of 1.5 to 3" in row["note"]
    # the exact Poisson bound, one-sided 95 %: chi-square with 2r + 2 degrees of freedom
    bound = stats.chi2.ppf(0.95, 2 * failures + 2) / 2 / row["part_years"]
    assert row["most_per_year"] == pytest.approx(bound)
    assert f"at most {bound:.2g} failures per part-year" in row["note"]


def test_scarce_failures_say_their_prior_aloud(tmp_path):
    log = typed_fleet(12)
    histories = histories_of(tmp_path, **log)
    row = averages(estimate_life(histories, component=CAP, by=["model_family"], pooling="none")).iloc[0]
    leaning = estimate_life(histories, component=CAP, by=["model_family"])
    histories.close()
    assert 5 <= row["failures"] < 20
    assert row["prior"].startswith("Weibull shape about 2 (1.0 to 4.0), median life about 10 years")
    assert averages(leaning)["prior"][0].startswith("from the component's other groups: Weibull shape about 2")
    assert any("lean on each other" in note for note in leaning.notes)


def test_failures_mended_without_a_part_are_said(tmp_path):
    log = typed_fleet(60)
    log["visits"].append(visit("W1", "U001", "2019-07-01", finding="wiring"))
    log["catalogue"] = [{"part_no": "W9", "component": "wiring"}]
    histories = histories_of(tmp_path, **log)
    row = averages(estimate_life(histories, component="wiring")).iloc[0]
    histories.close()
    assert "1 failures of the component were mended without a new part" in row["note"]


def test_columns_are_documented_and_carry_design_names(fleet):
    answer = estimate_life(fleet, by=["model_family"], component=CAP)
    names = [c.name for c in answer.columns]
    assert names[:3] == ["property", "component", "model_family"]
    assert [n for n in names if n != "model_family"] == [c.name for c in COLUMNS]
    for name in ("spells", "failures", "ending", "model", "b10_low", "median_high", "scale_low", "shape_high"):
        assert name in names
    json.dumps(answer.to_dict())


def test_every_answer_is_the_same_twice(fleet):
    once, again = (estimate_life(fleet, component=CAP).to_dict() for _ in range(2))
    assert once == again


def test_unknown_words_are_named(fleet):
    with pytest.raises(AnalysisError, match="'gasket' is not a component that has a part"):
        estimate_life(fleet, component="gasket")
    with pytest.raises(AnalysisError, match="ending = 'worn' is not known"):
        estimate_life(fleet, ending="worn")
    with pytest.raises(AnalysisError, match="births = 'old' is not known"):
        estimate_life(fleet, births="old")
    with pytest.raises(SchemaError, match="'color' is not a column to group by"):
        estimate_life(fleet, by=["color"])
    with pytest.raises(AnalysisError, match="level = 1"):
        estimate_life(fleet, level=1.0)
    with pytest.raises(AnalysisError, match="no life of a part 'gasket'"):
        trace_life_curve(fleet, "gasket")


def test_the_smallest_log_is_answered(tmp_path):
    histories = one_visit(tmp_path)
    answer = estimate_life(histories)
    histories.close()
    assert answer.name == "life"
    assert (answer.table["failures"] == 0).all()


def test_unknown_births_bring_the_estimate_nearer():
    study = life_study
    rng = np.random.default_rng(1)
    errors = {"any": [], "in the log": []}
    for _ in range(8):
        lives = lives_of(study.simulate_fleet(rng, 300, hidden=0.1))
        for births, found in errors.items():
            average = estimate_lives(lives, study.COMPONENT, births=births).average
            found.append(math.log(average.quantile(0.1) / study.TRUE_B10))
    spread = {births: math.sqrt(np.mean(np.square(found))) for births, found in errors.items()}
    assert spread["any"] < spread["in the log"]
    assert abs(np.mean(errors["any"])) < 0.08  # three errors of eight fleets


def test_the_study_runs_and_reports_every_target():
    lines = life_study.run_study(2, seed=1, gap_units=600)
    said = " ".join(str(line) for line in lines)
    for words in ("births any: RMSE", "interval holds B10", "look-ahead 2", "3 years apart", "failures of the next 3"):
        assert words in said
    assert all(math.isfinite(line.reached) for line in lines)
