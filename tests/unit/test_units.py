"""Units that keep failing: what counts as a call, what is usual, and how sure the verdict is."""

import datetime as dt

import numpy as np
import pytest
from scipy import stats
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.failing_law import UnitPosterior, place_units
from fleet.analysis.units import COLUMNS, find_failing_units

FOUR_YEARS = [kept("2021-01-01", "2024-12-31")]


def fleet_log(bad_calls=9, units=30):
    """Return a fleet in which every third unit called once and U0 keeps calling."""
    rows = [
        visit(f"B{k}", "U0", f"{2021 + k // 3}-0{3 * (k % 3) + 1}-15", finding="contactor") for k in range(bad_calls)
    ]
    rows += [visit(f"V{n}", f"U{n}", "2022-07-01", finding="wiring") for n in range(1, units, 3)]
    return {
        "visits": rows,
        "equipment": [unit(f"U{n}", installed_on="2018-01-01") for n in range(units)],
        "coverage": FOUR_YEARS,
    }


def test_unit_that_keeps_failing_comes_first(tmp_path):
    built = histories_of(tmp_path, **fleet_log())
    answer = find_failing_units(built)
    table = answer.to_frame()
    first = table.iloc[0]
    assert first["equipment_id"] == "U0"
    assert first["calls"] == 9
    assert first["unit_years"] == pytest.approx(1461 / 365.25)
    assert first["p_bad"] > 0.95
    assert (table["p_bad"].iloc[1:] < 0.2).all()
    assert first["evidence"].startswith("9 calls in 4.0 years where 0.6 are usual; contactor 9 times")
    assert table["p_bad"].is_monotonic_decreasing
    # what it is expected to do next year lies between its own past and its kind's
    assert first["usual_calls"] / 4 < first["expected_calls"] < 9 / 4
    assert first["low"] <= first["expected_calls"] <= first["high"]
    assert table["usual_calls"].sum() == pytest.approx(table["calls"].sum())


def test_retired_units_help_and_are_not_listed(tmp_path):
    log = fleet_log()
    log["equipment"][0]["retired_on"] = "2024-10-01"
    answer = find_failing_units(histories_of(tmp_path, **log))
    assert "U0" not in set(answer.to_frame()["equipment_id"])
    assert answer.excluded["units no longer in service, used for what is usual and not listed"] == 1
    assert answer.n_used == 9 + 10


def test_what_counts_as_a_call(tmp_path):
    log = fleet_log(bad_calls=0)
    log["visits"] += [
        visit("X1", "U2", "2022-01-01", finding="no fault found"),
        visit("X2", "U2", "2022-05-01", finding="run capacitor", call_type="turnover"),
        visit("X3", "U2", "2022-09-01", finding="run capacitor"),
        visit("X4", "U2", "2022-09-20", finding="run capacitor"),  # the same chain
        visit("X5", "U2", "2023-05-01", call_type="preventive maintenance"),
    ]
    answer = find_failing_units(histories_of(tmp_path, **log))
    row = answer.to_frame().set_index("equipment_id").loc["U2"]
    assert row["calls"] == 2
    assert row["last_call"] == dt.date(2022, 9, 1)
    assert "no fault found once, run capacitor once" in row["evidence"]
    assert answer.excluded["failures found on preventive maintenance or turnover, no calls"] == 1


def test_kind_and_age_say_what_is_usual(tmp_path):
    # family B calls five times as often: its units aren't bad for that
    rows, units = [], []
    for n in range(60):
        family = "B" if n % 2 else "A"
        units.append(unit(f"U{n}", model_family=family, installed_on="2016-01-01"))
        for k in range(5 if family == "B" else 1):
            rows.append(visit(f"V{n}-{k}", f"U{n}", f"202{1 + k % 4}-0{1 + k}-11", finding="contactor"))
    table = find_failing_units(histories_of(tmp_path, visits=rows, equipment=units, coverage=FOUR_YEARS)).to_frame()
    usual = table.groupby(table["calls"])["usual_calls"].mean()
    assert usual[5] == pytest.approx(5.0, rel=0.05)
    assert usual[1] == pytest.approx(1.0, rel=0.3)  # shrunk toward the fleet
    assert (table["p_bad"] < 0.05).all()


def test_a_fleet_that_never_called(tmp_path):
    log = fleet_log(bad_calls=0)
    log["visits"] = [visit("V1", "U1", "2022-01-01", call_type="preventive maintenance")]
    table = find_failing_units(histories_of(tmp_path, **log)).to_frame()
    assert len(table) == 30
    assert (table["calls"] == 0).all()
    assert (table["expected_calls"] < 0.1).all()
    assert (table["high"] <= 1).all()


def test_unit_never_at_risk_is_blank(tmp_path):
    log = fleet_log()
    log["occupancy"] = [{"equipment_id": "U5", "vacant_from": "2020-01-01", "vacant_to": ""}]
    row = find_failing_units(histories_of(tmp_path, **log)).to_frame().set_index("equipment_id").loc["U5"]
    assert np.isnan(row["p_bad"])
    assert row["note"] == "no time at risk in the log"


def test_smallest_log(tmp_path):
    answer = find_failing_units(one_visit(tmp_path))
    table = answer.to_frame()
    assert list(table.columns) == [column.name for column in COLUMNS]
    assert np.isnan(table.loc[0, "expected_calls"])
    assert table.loc[0, "note"] == "under one unit-year in the log: not enough data"


def test_regression_to_the_mean_is_said_aloud(tmp_path):
    answer = find_failing_units(histories_of(tmp_path, **fleet_log()))
    assert any("fails less next year, whatever is done" in note for note in answer.notes)


def drawn_fleet(seed, bad_share, units=600):
    rng = np.random.default_rng(seed)
    usual = rng.uniform(0.5, 3.0, units)
    bad = rng.random(units) < bad_share
    z = np.where(bad, 4.0, rng.gamma(8.0, 1 / 8.0, units))
    return rng, usual, z, rng.poisson(z * usual).astype(float)


def test_few_bad_units_are_forecast_without_bias():
    rng, usual, z, calls = drawn_fleet(5, 0.04)
    placed = place_units(calls, usual * calls.sum() / usual.sum())
    assert placed.two_laws > 0.9
    next_year = placed.mean() * usual * calls.sum() / usual.sum()
    top = np.argsort(-placed.chance_above(2.0))[:24]
    assert next_year[top].sum() == pytest.approx((z * usual)[top].sum(), rel=0.15)
    low, high = placed.count_limits(usual * calls.sum() / usual.sum(), 0.90)
    to_come = rng.poisson(z * usual)
    assert 0.88 <= ((to_come >= low) & (to_come <= high)).mean() <= 0.99  # counts are discrete: wider, not narrower


def test_like_units_show_no_bad_ones():
    rng = np.random.default_rng(6)
    usual = rng.uniform(0.5, 3.0, 600)
    calls = rng.poisson(usual).astype(float)
    placed = place_units(calls, usual * calls.sum() / usual.sum())
    assert placed.two_laws < 0.5
    assert placed.chance_above(2.0).max() < 0.3


def test_count_limits_are_negative_binomial_quantiles():
    placed = UnitPosterior(
        weights=np.ones((1, 1)), shapes=np.array([[3.0]]), rates=np.array([[2.0]]), two_laws=0.0, pooled=True
    )
    low, high = placed.count_limits(np.array([4.0]), 0.90)
    law = stats.nbinom(3.0, 2.0 / 6.0)
    assert (low[0], high[0]) == (law.ppf(0.05), law.ppf(0.95))
    assert placed.chance_above(2.0)[0] == pytest.approx(stats.gamma.sf(2.0, 3.0, scale=0.5))


def test_what_mending_would_avoid(tmp_path):
    table = find_failing_units(histories_of(tmp_path, **fleet_log())).to_frame().set_index("equipment_id")
    bad = table.loc["U0"]
    assert bad["past_rate"] == pytest.approx(9 / (1461 / 365.25))
    assert bad["expected_calls"] < bad["past_rate"]
    # nearly all of its z lies above 1: what stays is what its kind has in a year (fewer than so far: it is older now)
    assert 0 < bad["expected_calls"] - bad["avoided_calls"] < bad["usual_calls"] / bad["unit_years"]
    assert 0 < bad["avoided_low"] < bad["avoided_calls"] < bad["avoided_high"]
    quiet = table.drop(index="U0")
    assert (quiet["avoided_calls"] < 0.15).all()
    assert (quiet["avoided_low"] == 0).all()
    wide = find_failing_units(histories_of(tmp_path / "w", **fleet_log()), level=0.99).to_frame()
    wide = wide.set_index("equipment_id").loc["U0"]
    assert wide["avoided_low"] < bad["avoided_low"] < bad["avoided_high"] < wide["avoided_high"]
    assert wide["avoided_calls"] == bad["avoided_calls"]


def test_expected_excess_is_the_integral_over_the_posterior():
    placed = UnitPosterior(
        weights=np.array([[0.3, 0.7]]), shapes=np.array([[3.0, 1.5]]), rates=np.array([[2.0, 4.0]]), two_laws=0.0,
        pooled=True,
    )  # fmt: skip
    z = np.linspace(1.0, 40.0, 400_001)
    density = 0.3 * stats.gamma.pdf(z, 3.0, scale=1 / 2.0) + 0.7 * stats.gamma.pdf(z, 1.5, scale=1 / 4.0)
    assert placed.mean_above(1.0)[0] == pytest.approx(np.trapezoid((z - 1.0) * density, z), rel=1e-6)


def test_quantiles_of_a_mixture_and_of_many_units():
    rng, usual, _, calls = drawn_fleet(9, 0.04, units=3000)
    placed = place_units(calls, usual)
    direct = UnitPosterior(
        weights=placed.weights, shapes=placed.shapes, rates=placed.rates, two_laws=placed.two_laws, pooled=True
    )
    for p in (0.05, 0.95):
        # many distinct units are splined along usual calls; each alone is halved to the root
        np.testing.assert_allclose(placed.quantile(p), direct.quantile(p), rtol=5e-3)
    some = rng.choice(3000, 20, replace=False)
    law = direct.quantile(0.95)[some]
    above = (placed.weights[some] * stats.gamma.sf(law[:, None] * placed.rates[some], placed.shapes[some])).sum(axis=1)
    np.testing.assert_allclose(above, 0.05, rtol=1e-6)
