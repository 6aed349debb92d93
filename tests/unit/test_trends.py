"""Trend tests and sizes: known truths, clusters of failures, holes in the watch, and too little data."""

import math

import numpy as np
import pytest
from scipy import optimize

from fleet.analysis.recurrence import fit_power_law, laplace_trend
from fleet.analysis.trends import (
    FEWEST_UNITS,
    lewis_robinson_trend,
    log_linear_trend,
    power_law_limits,
    robust_trend,
)


def growing(rng, units, *, slope, base=0.4, years=6.0, spread=1.25):
    """Simulate unlike units whose rate grows as exp(slope x t)."""
    z = rng.gamma(spread, 1 / spread, units)
    mean = z * base * (years if slope == 0 else (math.exp(slope * years) - 1) / slope)
    unit = np.repeat(np.arange(units), rng.poisson(mean))
    share = rng.random(unit.size)
    age = share * years if slope == 0 else np.log1p(share * (math.exp(slope * years) - 1)) / slope
    return np.zeros(units), np.full(units, years), unit, np.maximum(age, 1e-9)


def test_the_slope_is_the_most_likely_one():
    """A general optimizer on the conditional likelihood, by closed-form integrals."""
    start, stop, unit, age = growing(np.random.default_rng(1), 40, slope=0.2)

    def loss(slope):
        mass = (np.exp(slope * stop) - np.exp(slope * start)) / slope
        return -(slope * age - np.log(mass)[unit]).sum()

    best = optimize.minimize_scalar(loss, bounds=(0.01, 1.0), method="bounded", options={"xatol": 1e-10})
    assert log_linear_trend(start, stop, unit, age).slope == pytest.approx(best.x, rel=1e-5)


def test_the_slopes_interval_holds_the_truth_nine_times_in_ten():
    """Simulated, 300 fleets of 60 unlike units; four standard errors of the share are 0.07."""
    rng = np.random.default_rng(2)
    held = 0
    for _ in range(300):
        bounds = log_linear_trend(*growing(rng, 60, slope=0.08)).interval(0.90)
        held += bounds.low <= 0.08 <= bounds.high
    assert held / 300 == pytest.approx(0.90, abs=0.05)


def test_the_unit_of_time_and_the_origin_do_not_matter():
    start, stop, unit, age = growing(np.random.default_rng(3), 30, slope=0.1)
    years = log_linear_trend(start, stop, unit, age)
    days = log_linear_trend(start * 365.25 + 1e4, stop * 365.25 + 1e4, unit, age * 365.25 + 1e4)
    assert days.slope * 365.25 == pytest.approx(years.slope, rel=1e-6)
    assert days.sd * 365.25 == pytest.approx(years.sd, rel=1e-6)


def clusters(rng, units=60):
    """Simulate a steady rate at which every failure comes back within days."""
    start, stop, unit, age = growing(rng, units, slope=0.0, base=0.25)
    again = np.minimum(age + rng.exponential(0.02, age.size), 6.0)
    return start, stop, np.concatenate([unit, unit]), np.concatenate([age, again])


def test_failures_in_clusters_fool_laplace_and_not_the_robust_test():
    """Simulated, 400 fleets without trend at nominal 10 %: Laplace errs one time in four."""
    rng = np.random.default_rng(4)
    alarms = np.zeros(2)
    for _ in range(400):
        data = clusters(rng)
        alarms += [laplace_trend(*data).p_value < 0.10, robust_trend(*data).p_value < 0.10]
    assert alarms[0] / 400 > 0.18
    assert 0.06 <= alarms[1] / 400 <= 0.14


def test_a_hole_in_the_watch_makes_no_trend():
    """Nobody looked in the years 2 to 4; failures before and after at one rate."""
    rng = np.random.default_rng(5)
    units = 300
    counts = rng.poisson(0.8, (units, 2))
    unit = np.concatenate(
        [np.repeat(np.arange(units), counts[:, 0]), units + np.repeat(np.arange(units), counts[:, 1])]
    )
    start = np.repeat([0.0, 4.0], units)
    stop = np.repeat([2.0, 6.0], units)
    age = start[unit] + 2.0 * rng.uniform(1e-9, 1, unit.size)
    belongs = np.tile(np.arange(units), 2)
    assert abs(robust_trend(start, stop, unit, age, belongs_to=belongs).z) < 2.5
    found = log_linear_trend(start, stop, unit, age, belongs_to=belongs)
    assert abs(found.slope) < 2.5 * found.sd
    assert found.sd < 0.05  # conditioning on each window alone would leave two years of leverage instead of six


def test_too_few_units_give_no_robust_test_and_chance_limits():
    start, stop, unit, age = growing(np.random.default_rng(6), FEWEST_UNITS - 1, slope=0.1, base=2.0)
    assert robust_trend(start, stop, unit, age) is None
    assert math.isinf(log_linear_trend(start, stop, unit, age).freedom)
    assert log_linear_trend([0.0], [2.0], [0], [1.0]) is None
    assert log_linear_trend([0.0], [2.0], [0] * 5, [2.0] * 5) is None  # all at the very end
    assert lewis_robinson_trend([0.0], [2.0], [0] * 4, [0.1, 0.5, 1.0, 1.9]) is None


def test_even_gaps_are_no_surprise_to_lewis_and_robinson():
    """Gaps far more even than chance makes Laplace too shy; uneven ones too bold; the ratio is the gaps' spread."""
    gaps = np.array([1.0, 1.2, 0.9, 1.1, 1.0, 0.8])
    times = np.cumsum(gaps)
    laplace = laplace_trend([0.0], [6.5], [0] * 6, times)
    even = lewis_robinson_trend([0.0], [6.5], [0] * 6, times)
    assert even.z == pytest.approx(laplace.z / (gaps.std(ddof=1) / gaps.mean()))
    two = lewis_robinson_trend([0.0, 2.0], [6.5, 8.5], [0] * 6 + [1] * 6, [*times, *(times + 2.0)])
    assert two.z == pytest.approx(even.z * math.sqrt(2))


@pytest.mark.parametrize("spread", [1.25, 1000.0])
def test_the_shapes_interval_holds_the_truth(spread):
    """Simulated, 200 fleets of 80 units entering between ages 0 and 10; shape 1.6, units unlike or alike."""
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(200):
        start = rng.uniform(0, 10, 80)
        stop = start + 6.0
        mean = rng.gamma(spread, 1 / spread, 80) * 0.1 * (stop**1.6 - start**1.6)
        unit = np.repeat(np.arange(80), rng.poisson(mean))
        low, high = start[unit] ** 1.6, stop[unit] ** 1.6
        age = (low + rng.uniform(1e-9, 1, unit.size) * (high - low)) ** (1 / 1.6)
        fit = fit_power_law(start, stop, unit, age)
        bounds = power_law_limits(fit, start, stop, unit, age)
        held += bounds.low <= 1.6 <= bounds.high
    assert held / 200 == pytest.approx(0.90, abs=0.06)


def test_the_shape_from_age_zero_has_its_textbook_error():
    """One window from zero: the log shape's variance is 1/n, whatever the ages (information of the power law)."""
    ages = np.random.default_rng(8).uniform(0.1, 9.0, 25)
    fit = fit_power_law([0.0], [9.0], [0] * 25, ages)
    bounds = power_law_limits(fit, [0.0], [9.0], [0] * 25, ages, level=0.90)
    assert math.log(bounds.high / bounds.low) / 2 == pytest.approx(1.6448536 / math.sqrt(25), rel=1e-5)
