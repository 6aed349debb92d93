"""Recurrent failures in windows: a naive second way, known truths, and holes in the watch."""

import time

import numpy as np
import pytest

from fleet.analysis.recurrence import fit_power_law, fit_power_law_grouped, laplace_trend, mean_cumulative
from fleet.errors import AnalysisError


def windows(seed, units, *, shape=1.0, scale=0.5):
    """Simulate power-law failures of units entering between ages 0 and 5 and watched for 1 to 8 years."""
    rng = np.random.default_rng(seed)
    start = rng.uniform(0, 5, units)
    stop = start + rng.uniform(1, 8, units)
    count = rng.poisson(scale * (stop**shape - start**shape))
    unit = np.repeat(np.arange(units), count)
    low, high = start[unit] ** shape, stop[unit] ** shape
    return start, stop, unit, (low + rng.uniform(size=unit.size) * (high - low)) ** (1 / shape)


def naive_curve(start, stop, unit, age):
    """Walk age by age over all units: the definition, without running sums."""
    weight, mean, means, variances = np.zeros(start.size), 0.0, [], []
    for now in np.unique(age):
        watched = (start < now) & (now <= stop)
        own = np.bincount(unit[age == now], minlength=start.size)
        mean += own.sum() / watched.sum()
        weight += watched / watched.sum() * (own - own.sum() / watched.sum())
        means.append(mean)
        variances.append((weight**2).sum())
    return np.array(means), np.array(variances)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_curve_and_variance_are_those_of_the_definition(seed):
    start, stop, unit, age = windows(seed, 40)
    age = np.minimum(np.ceil(age * 4) / 4, stop[unit])  # ties between and within units
    found = mean_cumulative(start, stop, unit, age)
    mean, variance = naive_curve(start, stop, unit, age)
    np.testing.assert_allclose(found.mean, mean, rtol=1e-10)
    np.testing.assert_allclose(found.sd**2, variance, rtol=1e-9, atol=1e-14)


def test_a_steady_rate_makes_a_straight_curve_inside_its_interval():
    """Simulated, seed 4: half a failure a year from the first age watched."""
    start, stop, unit, age = windows(4, 4000)
    found = mean_cumulative(start, stop, unit, age)
    at = int(np.searchsorted(found.ages, 10.0)) - 1
    assert found.low[at] < 0.5 * (10.0 - found.starts_at) < found.high[at]
    assert found.mean[at] == pytest.approx(5.0, rel=0.02)


def test_intervals_cover_the_curve_where_units_differ():
    """Simulated, seed 5: 400 fleets of 60 unlike units, 90 % intervals at the end of the watch."""
    rng = np.random.default_rng(5)
    covered = 0
    for _ in range(400):
        frailty = rng.gamma(2.0, 0.5, 60)
        unit = np.repeat(np.arange(60), rng.poisson(frailty * 0.4 * 5.0))
        found = mean_cumulative(np.zeros(60), np.full(60, 5.0), unit, rng.uniform(1e-9, 5.0, unit.size))
        covered += bool(found.low[-1] <= 2.0 <= found.high[-1])
    assert 0.87 <= covered / 400 <= 0.93


def test_the_curve_is_not_carried_over_a_hole():
    found = mean_cumulative([0.0, 4.0], [2.0, 6.0], [0, 1, 1], [1.0, 4.5, 5.0])
    assert found.broken_at == 2.0
    assert found.mean[0] == 1.0
    assert np.isnan(found.mean[1:]).all()
    assert np.isnan(found.sd[1:]).all()


def test_windows_that_touch_leave_no_hole():
    assert mean_cumulative([0.0, 2.0], [2.0, 6.0], [0, 1], [1.0, 4.5]).broken_at is None


def test_no_failure_makes_an_empty_curve():
    found = mean_cumulative([0.0], [2.0], [], [])
    assert found.ages.size == found.mean.size == 0
    assert laplace_trend([0.0], [2.0], [], []) is None
    assert fit_power_law([0.0], [2.0], [], []) is None


@pytest.mark.parametrize(("shape", "scale"), [(0.6, 0.9), (1.0, 0.5), (2.0, 0.08)])
def test_power_law_is_recovered_from_windows(shape, scale):
    """Simulated, seed 6: about two thousand failures; ages count from installation, not from the window."""
    found = fit_power_law(*windows(6, 800, shape=shape, scale=scale))
    assert found.shape == pytest.approx(shape, rel=0.09)  # four standard errors
    start, stop, _, _ = windows(6, 800, shape=shape, scale=scale)
    expected = sum(found.expected(a, b) for a, b in zip(start, stop, strict=True))
    assert expected == pytest.approx(found.n, rel=1e-9)


def test_power_law_needs_two_failures():
    assert fit_power_law([0.0], [2.0], [0], [1.0]) is None
    assert fit_power_law([0.0], [2.0], [0, 0], [2.0, 2.0]) is None


def test_power_law_that_no_shape_fits_is_none():
    """All failures right after entering late: the rate falls faster than any power law with a positive shape."""
    assert fit_power_law([5.0], [10.0], [0] * 6, [5.001, 5.002, 5.003, 5.004, 5.005, 5.006]) is None
    assert fit_power_law_grouped([10, 20], [5, 0]) is None


def test_grouped_counts_agree_with_exact_ages():
    """Counts over two hundred narrow intervals give nearly the fit of the exact ages."""
    rng = np.random.default_rng(8)
    ages = 10 * rng.uniform(size=300) ** (1 / 1.5)
    edges = np.linspace(0, 10, 201)
    grouped = fit_power_law_grouped(edges[1:], np.histogram(ages, edges)[0])
    exact = fit_power_law([0.0], [10.0], [0] * 300, ages)
    assert grouped.shape == pytest.approx(exact.shape, rel=2e-3)
    assert grouped.scale == pytest.approx(exact.scale, rel=5e-3)


def test_unlike_units_without_trend_show_none():
    """Simulated, seed 9: 500 fleets of frail units at steady rates; Laplace's z stays standard normal."""
    rng = np.random.default_rng(9)
    z = []
    for _ in range(500):
        start, stop = rng.uniform(0, 4, 20), rng.uniform(5, 9, 20)
        unit = np.repeat(np.arange(20), rng.poisson(rng.gamma(0.7, 1.0, 20) * 0.5 * (stop - start)))
        if unit.size:
            age = start[unit] + rng.uniform(1e-9, 1, unit.size) * (stop - start)[unit]
            z.append(laplace_trend(start, stop, unit, age).z)
    assert np.mean(z) == pytest.approx(0.0, abs=0.15)
    assert np.std(z) == pytest.approx(1.0, abs=0.1)


def test_aging_shows_as_a_positive_trend():
    found = laplace_trend(*windows(10, 200, shape=2.5, scale=0.03))
    assert found.z > 3
    assert found.p_value < 0.003


def test_hundred_thousand_windows_take_under_a_second():
    """Measured 0.2 s; the best of three, because other work on the machine can only slow a run down."""
    data = windows(11, 100_000)

    def seconds():
        began = time.perf_counter()
        mean_cumulative(*data)
        return time.perf_counter() - began

    assert min(seconds() for _ in range(3)) < 1.0


@pytest.mark.parametrize(
    ("start", "stop", "unit", "age", "text"),
    [
        ([0.0], [0.0], [], [], r"1 of 1 windows have no start before stop \(units 0\)"),
        ([0.0, -1.0], [1.0, 2.0], [], [], r"\(units 1\)"),
        ([0.0], [np.inf], [], [], "no start before stop"),
        ([], [], [], [], "pairs must agree"),
        ([0.0], [1.0], [0], [], "pairs must agree"),
        ([0.0], [1.0], [1], [0.5], "belong to no window"),
        ([0.0], [1.0], [0], [1.5], "1 of 1 failures lie outside their unit's window"),
        ([1.0], [2.0], [0], [1.0], "outside"),
    ],
)
def test_unusable_windows_are_refused(start, stop, unit, age, text):
    with pytest.raises(AnalysisError, match=text):
        mean_cumulative(start, stop, unit, age)


@pytest.mark.parametrize(("ends", "counts"), [([1], [5]), ([1, 1], [2, 2]), ([1, 2], [1, 0]), ([1, 2, 3], [1, 2])])
def test_unusable_groups_are_refused(ends, counts):
    with pytest.raises(AnalysisError, match="rising interval ends"):
        fit_power_law_grouped(ends, counts)


def broken_watch(seed, units=25):
    """Simulate units watched in one to three pieces, failing in clusters."""
    rng = np.random.default_rng(seed)
    start, stop, belongs, unit, age = [], [], [], [], []
    for each in range(units):
        edges = np.sort(rng.uniform(0, 12, 2 * rng.integers(1, 4)))
        for low, high in edges.reshape(-1, 2):
            for _ in range(rng.poisson(0.6 * (high - low))):
                unit.append(len(start))
                age.append(rng.uniform(low, high) + 1e-9)
            start.append(low)
            stop.append(high)
            belongs.append(each)
    return np.array(start), np.array(stop), np.array(unit), np.minimum(age, np.array(stop)[unit]), np.array(belongs)


@pytest.mark.parametrize("seed", [21, 22])
def test_a_unit_watched_in_pieces_is_one_unit_in_the_variance(seed):
    """The definition again, each unit's weight summed over all of its windows."""
    start, stop, unit, age, belongs = broken_watch(seed)
    found = mean_cumulative(start, stop, unit, age, belongs_to=belongs)
    weight, variances = np.zeros(belongs.max() + 1), []
    for now in np.unique(age):
        watched = np.bincount(belongs, weights=(start < now) & (now <= stop))
        own = np.bincount(belongs[unit[age == now]], minlength=weight.size)
        weight += watched / watched.sum() * (own - own.sum() / watched.sum())
        variances.append((weight**2).sum())
    kept = ~np.isnan(found.sd)
    np.testing.assert_allclose((found.sd**2)[kept], np.array(variances)[kept], rtol=1e-9, atol=1e-14)
    apart = mean_cumulative(start, stop, unit, age)
    np.testing.assert_array_equal(apart.mean, found.mean)
    assert np.abs(apart.sd[-1] / found.sd[-1] - 1) > 0.01


def test_laplace_of_a_broken_watch_takes_the_time_between_out():
    """Two windows, 0 to 1 and 3 to 4: the middle is 2, the variance (1/3 + 37/3)/2 - 4 = 7/3."""
    found = laplace_trend([0.0, 3.0], [1.0, 4.0], [0, 1, 1], [0.5, 3.5, 4.0], belongs_to=[0, 0])
    assert found.z == pytest.approx((0.5 + 3.5 + 4.0 - 6.0) / np.sqrt(3 * 7 / 3))


def test_overlapping_windows_of_a_unit_are_refused():
    with pytest.raises(AnalysisError, match=r"1 windows overlap another of their unit \(units 3\)"):
        mean_cumulative([0.0, 1.0], [2.0, 4.0], [], [], belongs_to=[3, 3])
    with pytest.raises(AnalysisError, match="one whole number from 0 a window is needed"):
        laplace_trend([0.0, 1.0], [2.0, 4.0], [0], [1.0], belongs_to=[0])
