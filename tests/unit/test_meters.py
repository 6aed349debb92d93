"""Meters: bias told from part and age, and what a log can't tell."""

import numpy as np
import pytest
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.meters import COLUMNS, estimate_meters, linked_meters

TRUE_BIAS = {"M1": 1.0, "M2": -0.5, "M3": -2.5}


def metered_log(seed=1, *, units=40, rounds=4, meters=tuple(TRUE_BIAS), own=False, noise=0.6):
    """Return a log of spring rounds: each unit drifts, each meter reads by its own factor."""
    rng = np.random.default_rng(seed)
    visits, readings = [], []
    for n in range(units):
        level, slope = rng.normal(-1.0, 2.0), -abs(rng.normal(0.6, 0.3))
        for k in range(rounds):
            meter = meters[n % len(meters)] if own else meters[int(rng.integers(len(meters)))]
            key = f"V{n}-{k}"
            visits.append(
                visit(key, f"U{n}", f"{2021 + k}-04-01", call_type="preventive maintenance", technician=meter)
            )
            for section, rated in (("herm", 40.0), ("fan", 5.0)):
                true = rated * (1 + (level + slope * k) / 100)
                read = true * (1 + TRUE_BIAS[meter] / 100) * (1 + rng.normal(0, noise) / 100)
                readings.append({"visit_id": key, "component": section, "value": round(read, 4), "meter": meter})
    return {
        "visits": visits,
        "readings": readings,
        "equipment": [unit(f"U{n}", installed_on="2015-05-01") for n in range(units)],
        "coverage": [kept("2021-01-01", "2024-12-31")],
    }


def test_bias_against_the_average_meter(tmp_path):
    answer = estimate_meters(histories_of(tmp_path, **metered_log()))
    table = answer.to_frame().set_index("meter")
    mean = sum(TRUE_BIAS.values()) / 3
    for meter, bias in TRUE_BIAS.items():
        row = table.loc[meter]
        assert row["low"] < row["bias_pct"] < row["high"]
        assert row["bias_pct"] == pytest.approx(bias - mean, abs=0.15)  # noise 0.6 over about 100 readings each
        assert row["low"] - 0.05 < bias - mean < row["high"] + 0.05
    assert table["bias_pct"].mean() == pytest.approx(0.0, abs=1e-9)
    assert table["readings"].sum() == answer.n_used == 320


def test_meter_in_one_hand_is_said(tmp_path):
    answer = estimate_meters(histories_of(tmp_path, **metered_log()))
    assert any("a meter can't be told from the way its user measures" in note for note in answer.notes)


def test_meters_that_share_no_part_cannot_be_compared(tmp_path):
    answer = estimate_meters(histories_of(tmp_path, **metered_log(own=True)))
    table = answer.to_frame()
    assert table["bias_pct"].isna().all()
    assert table["note"].str.contains("shares no part").all()


def test_only_meter(tmp_path):
    answer = estimate_meters(histories_of(tmp_path, **metered_log(meters=("M1",))))
    row = answer.to_frame().iloc[0]
    assert np.isnan(row["bias_pct"])
    assert row["note"] == "the only meter: nothing to compare it with"
    assert "one meter (M1)" in answer.notes[0]


def test_zeros_collapsed_and_running_readings_stay_out(tmp_path):
    log = metered_log(units=10)
    before = estimate_meters(histories_of(tmp_path / "before", **log)).to_frame()
    log["visits"].append(visit("X1", "U0", "2024-08-01", finding="run capacitor"))
    log["readings"] += [
        {"visit_id": "X1", "component": "herm", "value": 0, "meter": "M1"},
        {"visit_id": "X1", "component": "fan", "value": 2.0, "meter": "M1"},
        {"visit_id": "V1-1", "component": "herm", "method": "running", "volts": 370, "amps": 5.0, "meter": "M2"},
    ]
    answer = estimate_meters(histories_of(tmp_path / "after", **log))
    assert answer.to_frame()["bias_pct"].to_numpy() == pytest.approx(before["bias_pct"].to_numpy())
    assert answer.excluded["zeros, open sections and absurd readings"] == 1
    assert answer.excluded["sections more than 15 % below rated"] == 1
    assert answer.excluded["readings taken running, not with the meter's capacitance range"] == 1


def test_a_change_of_part_breaks_the_comparison(tmp_path):
    # two meters meet one position, but a new part was fitted between them
    log = metered_log(units=1, rounds=1, meters=("M1",))
    log["visits"].append(visit("X1", "U0", "2022-08-01", finding="run capacitor"))
    log["parts_used"] = [
        {"visit_id": "X1", "part_no": "C", "component": "run capacitor", "quantity": 1, "why": "failed"}
    ]
    log["readings"] += [{"visit_id": "X1", "component": "herm", "stage": "new", "value": 40, "meter": "M2"}]
    assert estimate_meters(histories_of(tmp_path, **log)).to_frame()["bias_pct"].isna().all()


def test_linked_meters_by_shared_parts():
    linked = linked_meters(np.array([0, 1, 1, 2, 3]), np.array([0, 0, 1, 1, 2]), 4)
    assert linked.tolist() == [True, True, True, False]


def test_smallest_log(tmp_path):
    answer = estimate_meters(one_visit(tmp_path))
    assert answer.to_frame().empty
    assert [column.name for column in answer.columns] == [column.name for column in COLUMNS]
    assert "No bench reading names its meter" in answer.notes[0]
