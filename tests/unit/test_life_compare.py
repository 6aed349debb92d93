"""Lives compared between groups: ratios found, limits that hold, alike groups left alone, false discoveries held."""

import json
import math

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats
from small_logs import histories_of, kept, unit, visit

from fleet.analysis.life_compare import COLUMNS, _component_rows, compare_lives
from fleet.analysis.life_data import read_lives
from fleet.analysis.life_groups import LifeQuestion
from fleet.errors import AnalysisError, SchemaError
from tests.studies import life_study

CAP = "run capacitor"


def family_log(scales, units=240, *, seed=1, component=CAP):
    """Return a log of ten years of units installed under watch, their parts' lives Weibull of shape 2.5."""
    rng = np.random.default_rng(seed)
    equipment, visits, parts = [], [], []
    for nth in range(units):
        family = list(scales)[nth % len(scales)]
        tag, day = f"U{nth:03d}", np.datetime64("2014-01-01") + int(rng.integers(0, 700))
        equipment.append(unit(tag, installed_on=str(day), model_family=family))
        while True:
            day = day + max(int(365.25 * scales[family] * rng.weibull(2.5)), 1)
            if day >= np.datetime64("2024-01-01"):
                break
            key = f"V{len(visits)}"
            visits.append(visit(key, tag, str(day), finding=component))
            parts.append({"visit_id": key, "part_no": "P1", "component": component, "why": "failed"})
    coverage = [kept("2014-01-01", "2023-12-31")]
    return {"equipment": equipment, "visits": visits, "parts_used": parts, "coverage": coverage}


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    histories = histories_of(tmp_path_factory.mktemp("compare"), **family_log({"A": 4.0, "B": 4.0, "C": 2.4}))
    yield histories
    histories.close()


def test_the_short_lived_family_is_found_and_by_how_much(fleet):
    table = compare_lives(fleet, by=["model_family"], component=CAP, level=0.99).table.set_index("model_family")
    assert table["ratio_low"]["C"] < 0.6 < table["ratio_high"]["C"]
    assert table["ratio"]["C"] == pytest.approx(0.6, rel=0.1)  # chance in some 300 failures
    assert (table["differs"]["C"], table["against"]["C"]) == ("yes", "the others")
    assert (table["p_groups"] < 1e-6).all()
    assert (table["p_shapes"] > 0.01).all()


def test_against_a_named_group(fleet):
    table = compare_lives(fleet, by=["model_family"], component=CAP, against="A").table.set_index("model_family")
    assert math.isnan(table["ratio"]["A"])
    assert table["note"]["A"] == "the group that ratios are taken to"
    assert table["ratio_low"]["B"] < 1.0 < table["ratio_high"]["B"]
    assert (table["differs"]["A"], table["differs"]["B"], table["differs"]["C"]) == ("", "no", "yes")


def test_ratio_limits_and_p_value_are_those_of_a_general_optimizer(fleet):
    # exact and censored lives from birth on: the same profile worked out with scipy alone, three free numbers
    asked = compare_lives(fleet, by=["model_family"], component=CAP, against="A").table.set_index("model_family")
    frame = read_lives(fleet, ["model_family"])
    sides = []
    for family in ("C", "A"):
        rows = frame[(frame["component"] == CAP) & (frame["by_model_family"] == family)]
        sides.append((rows["watched"].to_numpy(float), (rows["ended"] == "failed").to_numpy()))

    def lost(log_ratio, scale, shape):
        total = 0.0
        for (age, failed), shift in zip(sides, (log_ratio, 0.0), strict=True):
            law = stats.weibull_min(math.exp(shape), scale=math.exp(scale + shift))
            total -= law.logpdf(age[failed]).sum() + law.logsf(age[~failed]).sum()
        return total

    best = optimize.minimize(lambda v: lost(*v), [-0.5, 1.4, 0.9], method="Nelder-Mead", options={"fatol": 1e-10})

    def fallen(log_ratio):
        held = optimize.minimize(lambda v: lost(log_ratio, *v), best.x[1:], method="Nelder-Mead")
        return 2 * (held.fun - best.fun)

    row = asked.loc["C"]
    assert row["ratio"] == pytest.approx(math.exp(best.x[0]), rel=1e-3)
    for limit in ("ratio_low", "ratio_high"):
        assert fallen(math.log(row[limit])) == pytest.approx(stats.chi2.ppf(0.9, 1), rel=5e-3)
    assert row["p_value"] == pytest.approx(stats.chi2.sf(fallen(0.0), 1), rel=0.02)  # far out in the tail


def drawn_groups(rng, sizes):
    frames = []
    for nth, size in enumerate(sizes):
        frame = life_study.simulate_fleet(rng, size)
        frame["unit_id"] += 10_000 * nth
        frame["by_group"], frame["component"] = f"g{nth}", CAP
        frames.append(frame)
    return pd.concat(frames, ignore_index=True)


def test_alike_groups_are_told_apart_as_seldom_as_they_should():
    rng = np.random.default_rng(7)
    p_values, p_groups, held = [], [], []
    for _ in range(25):
        rows = _component_rows(drawn_groups(rng, [80, 60]), CAP, LifeQuestion(by=("group",), pooling="none"), "g1")
        p_values.append(rows[0]["p_value"])
        p_groups.append(rows[0]["p_groups"])
        held.append(rows[0]["ratio_low"] <= 1.0 <= rows[0]["ratio_high"])
    # two groups: the overall test and the ratio's are one
    assert p_groups == pytest.approx(p_values, abs=1e-4)
    assert np.mean(np.array(p_values) < 0.1) <= 0.28  # three errors of 25 above one in ten
    assert np.mean(held) >= 0.72
    assert stats.kstest(p_values, "uniform").pvalue > 0.01


def test_too_few_failures_on_a_side_are_said(tmp_path):
    histories = histories_of(tmp_path, **family_log({"A": 4.0, "B": 60.0}, units=40))
    table = compare_lives(histories, by=["model_family"], component=CAP).table
    histories.close()
    assert table["ratio"].isna().all()
    assert table["note"].str.contains("at least 5 on each side are needed").all()
    assert (table["differs"] == "").all()


def test_columns_are_documented_and_every_component_is_compared(fleet):
    answer = compare_lives(fleet, by=["model_family"])
    assert [c.name for c in answer.columns if c.name != "model_family"] == [c.name for c in COLUMNS]
    assert "3 comparisons were tried" in answer.notes[0]
    json.dumps(answer.to_dict())


def test_unknown_words_are_named(fleet):
    with pytest.raises(AnalysisError, match="by is empty"):
        compare_lives(fleet, by=[])
    with pytest.raises(AnalysisError, match="against = 'Z' is no group by model_family"):
        compare_lives(fleet, by=["model_family"], against="Z")
    with pytest.raises(AnalysisError, match="no life of a part 'gasket'"):
        compare_lives(fleet, by=["model_family"], component="gasket")
    with pytest.raises(SchemaError, match="'color' is not a column to group by"):
        compare_lives(fleet, by=["color"])
