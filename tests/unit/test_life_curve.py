"""The curve and the table of lives are one answer: the same lives, the same laws, the same ages."""

import json
import re

import numpy as np
import pytest
from small_logs import histories_of, kept, unit, visit

from fleet.analysis.life import estimate_life
from fleet.analysis.life_curve import trace_life_curve
from fleet.analysis.life_data import ENDINGS

CAP = "run capacitor"


def mixed_log(units=150, *, seed=3):
    """Return a log of five years that begins when units are up to eight years old; capacitors of three lots."""
    rng = np.random.default_rng(seed)
    equipment, visits, parts = [], [], []
    begins, ends = np.datetime64("2018-01-01"), np.datetime64("2023-01-01")
    for nth in range(units):
        tag, family = f"U{nth:03d}", "AB"[nth % 2]
        day = begins - int(rng.integers(0, 8 * 365))
        equipment.append(unit(tag, installed_on=str(day), model_family=family))
        for turn in range(30):
            day = day + max(int(365.25 * (4.0 if family == "A" else 2.4) * rng.weibull(2.5)), 1)
            if day >= ends:
                break
            if day < begins:
                continue
            key, why = f"{tag}-{turn}", "weak" if (nth + turn) % 5 == 0 else "failed"
            visits.append(visit(key, tag, str(day), finding=CAP))
            part = {"part_no": "P1", "component": CAP, "why": why, "lot": f"L{int(rng.integers(3))}"}
            parts.append({"visit_id": key, **part})
    coverage = [kept("2018-01-01", "2022-12-31")]
    return {"equipment": equipment, "visits": visits, "parts_used": parts, "coverage": coverage}


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    histories = histories_of(tmp_path_factory.mktemp("curve"), **mixed_log())
    yield histories
    histories.close()


@pytest.mark.parametrize("by", [(), ("model_family",), ("lot",), ("part_no",), ("part_no", "lot")], ids=",".join)
@pytest.mark.parametrize("ending", [ENDINGS[0], ENDINGS[1]])
def test_curve_and_table_rest_on_the_same_fit(fleet, by, ending):
    table = estimate_life(fleet, by=by, component=CAP, ending=ending, look_ahead_years=0.5).table
    curve = trace_life_curve(fleet, CAP, by=by, ending=ending, look_ahead_years=0.5).table
    laws = table[table["model"] == "average"]
    groups = [tuple(row) for row in laws[list(by)].to_numpy()] if by else [()]
    assert len(groups) == len(laws)
    for group, (_, row) in zip(groups, laws.iterrows(), strict=True):
        lines = curve
        for name, value in zip(by, group, strict=True):
            lines = lines[lines[name] == value]
        if np.isnan(row["curve_age"]):
            assert lines["age"].isna().all()
            continue
        # the table's Weibull, worked out at the curve's ages, is the curve's
        age = lines["age"].to_numpy(dtype=float)
        weibull = np.exp(-((age / row["scale"]) ** row["shape"]))
        assert lines["weibull"].to_numpy(dtype=float) == pytest.approx(weibull / weibull[0], rel=1e-9)
        last = lines[lines["age"] <= row["curve_age"]].iloc[-1]
        assert last["survival"] == pytest.approx(row["curve_survival"], rel=1e-12)


@pytest.mark.parametrize("by", [(), ("model_family",), ("lot",)], ids=",".join)
def test_a_tenth_of_the_averaged_curve_has_failed_at_the_tables_b10(fleet, by):
    table = estimate_life(fleet, by=by, component=CAP).table
    curve = trace_life_curve(fleet, CAP, by=by).table
    laws = table[table["model"] == "average"]
    held = 0
    assert laws["note"].str.contains("times B10").any() == (by == ())
    for _, row in laws.iterrows():
        lines = curve
        for name in by:
            lines = lines[lines[name] == row[name]]
        lines = lines[lines["age"].notna()]
        if lines.empty or lines["age"].iloc[0] > 0 or lines["age"].iloc[-1] < row["b10"]:
            continue
        held += 1
        # unlike kinds taken together: the curve is one law's, the table's B10 that many times its own
        moved = re.search(r"([0-9.]+) times B10", row["note"])
        one_law = row["b10"] / float(moved.group(1)) if moved else row["b10"]
        failed = 1.0 - np.interp(one_law, lines["age"].astype(float), lines["average"].astype(float))
        assert failed == pytest.approx(0.1, abs=0.01)  # between two ages of the curve
    assert held


def test_by_lot_the_curve_says_that_only_parts_fitted_in_the_log_count(fleet):
    curve, table = trace_life_curve(fleet, CAP, by=["lot"]), estimate_life(fleet, by=["lot"], component=CAP)
    assert curve.settings["births"] == table.settings["births"] == "in the log"
    assert trace_life_curve(fleet, CAP).settings["births"] == "any"


def test_the_curve_keeps_every_setting(fleet):
    answer = trace_life_curve(fleet, CAP, by=["model_family"], level=0.8, look_ahead_years=2.0)
    asked = {"component": CAP, "by": ("model_family",), "level": 0.8, "ending": "failed", "look_ahead_years": 2.0}
    assert asked.items() <= dict(answer.settings).items()
    json.dumps(answer.to_dict())
