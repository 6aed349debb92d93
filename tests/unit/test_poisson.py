"""Intervals, tests and multiplicity for counts: one behavior each, and a naive second way beside each estimator."""

import math

import numpy as np
import pytest
from scipy import optimize, stats

from fleet.analysis.poisson import (
    Interval,
    benjamini_hochberg,
    clopper_pearson,
    combined_interval,
    combined_limits,
    compare_two_rates,
    garwood_interval,
    garwood_limits,
    midp_interval,
    sandwich_interval,
    sandwich_limits,
    smallest_detectable_ratio,
    upper_bound_for_zero,
)
from fleet.errors import AnalysisError


@pytest.mark.parametrize("count", [0, 1, 4, 23])
def test_garwood_is_the_mean_at_which_a_tail_holds_five_percent(count):
    interval = garwood_interval(count, 2.0, 0.90)
    assert stats.poisson.cdf(count, 2.0 * interval.high) == pytest.approx(0.05, rel=1e-9)
    if count:
        assert stats.poisson.sf(count - 1, 2.0 * interval.low) == pytest.approx(0.05, rel=1e-9)
    else:
        assert interval.low == 0.0


@pytest.mark.parametrize("count", [0, 1, 4, 23])
def test_midp_counts_half_of_what_was_seen(count):
    interval = midp_interval(count, 1.0, 0.90)
    half = 0.5 * stats.poisson.pmf(count, interval.high)
    assert stats.poisson.cdf(count - 1, interval.high) + half == pytest.approx(0.05, rel=1e-8)
    if count:
        half = 0.5 * stats.poisson.pmf(count, interval.low)
        assert stats.poisson.sf(count, interval.low) + half == pytest.approx(0.05, rel=1e-8)


def enumerated_coverage(limits, means):
    counts = np.arange(0, 90)
    low, high = limits(counts)
    return np.array([stats.poisson.pmf(counts, mean)[(low <= mean) & (mean <= high)].sum() for mean in means])


def test_garwood_never_covers_less_than_its_level():
    """Enumerated, not simulated: at every mean from 0.3 to 30 at least 90 %."""
    means = np.linspace(0.3, 30, 1000)
    coverage = enumerated_coverage(lambda n: garwood_limits(n, 1.0, 0.90), means)
    assert coverage.min() >= 0.90
    assert 0.92 < coverage.mean() < 0.94


def test_midp_covers_its_level_on_average():
    means = np.linspace(0.3, 30, 1000)

    def limits(counts):
        intervals = [midp_interval(int(count), 1.0, 0.90) for count in counts]
        return np.array([i.low for i in intervals]), np.array([i.high for i in intervals])

    coverage = enumerated_coverage(limits, means)
    assert 0.89 <= coverage.mean() <= 0.92


def test_no_exposure_has_no_rate():
    low, high = garwood_limits([0, 2], [0.0, 4.0])
    assert np.isnan([low[0], high[0]]).all()
    assert low[1] > 0
    assert math.isnan(midp_interval(0, 0.0).high)


@pytest.mark.parametrize(
    ("counts", "exposures", "text"),
    [
        ([1, -1], [1, 1], r"1 of 2 groups can't be used: count is negative"),
        ([0.5], [1], r"not whole"),
        ([math.nan], [1], r"broken"),
        ([1], [math.inf], r"exposure is negative or not finite"),
        ([3], [0], r"count is above zero on no exposure \(the first has count 3 and exposure 0\)"),
    ],
)
def test_unusable_groups_are_named(counts, exposures, text):
    with pytest.raises(AnalysisError, match=text):
        garwood_limits(counts, exposures)


@pytest.mark.parametrize("level", [0.0, 1.0, 90.0, math.nan])
def test_a_level_must_be_a_share(level):
    with pytest.raises(AnalysisError, match="must lie between 0 and 1"):
        garwood_interval(1, 1.0, level)


def test_zero_bound_needs_exposure():
    with pytest.raises(AnalysisError, match=r"exposure = 0\.0 must be above zero"):
        upper_bound_for_zero(0.0)


def test_share_limits_are_where_the_binomial_tails_hold_five_percent():
    interval = clopper_pearson(4, 20, 0.90)
    assert stats.binom.sf(3, 20, interval.low) == pytest.approx(0.05, rel=1e-9)
    assert stats.binom.cdf(4, 20, interval.high) == pytest.approx(0.05, rel=1e-9)
    assert (clopper_pearson(0, 5).low, clopper_pearson(5, 5).high) == (0.0, 1.0)
    with pytest.raises(AnalysisError, match="6 successes of 5"):
        clopper_pearson(6, 5)


@pytest.mark.parametrize("method", ["exact", "mid-p"])
@pytest.mark.parametrize(("x1", "x0"), [(7, 3), (0, 4), (5, 0), (40, 61)])
def test_two_rates_by_summing_the_binomial(method, x1, x0):
    """A second way: sum the pmf of the first count given both, and search the ratio by root finding."""
    t1, t0, total = 3.0, 5.0, x1 + x0
    share = 0.5 if method == "mid-p" else 1.0

    def p_greater(ratio):
        pmf = stats.binom.pmf(np.arange(total + 1), total, ratio * t1 / (ratio * t1 + t0))
        return pmf[x1 + 1 :].sum() + share * pmf[x1]

    def p_less(ratio):
        pmf = stats.binom.pmf(np.arange(total + 1), total, ratio * t1 / (ratio * t1 + t0))
        return pmf[:x1].sum() + share * pmf[x1]

    found = compare_two_rates(x1, t1, x0, t0, method=method)
    assert found.p_greater == pytest.approx(p_greater(1.0), rel=1e-9)
    assert found.p_less == pytest.approx(p_less(1.0), rel=1e-9)
    assert found.p_value == pytest.approx(min(1.0, 2 * min(p_greater(1.0), p_less(1.0))), rel=1e-9)
    if x1:
        low = optimize.brentq(lambda r: p_greater(r) - 0.05, 1e-6, 1e6, xtol=1e-14)
        assert found.interval.low == pytest.approx(low, rel=1e-7)
    if x0:
        high = optimize.brentq(lambda r: p_less(r) - 0.05, 1e-6, 1e6, xtol=1e-14)
        assert found.interval.high == pytest.approx(high, rel=1e-7)


def test_two_rates_without_any_failure_say_nothing():
    found = compare_two_rates(0, 10.0, 0, 20.0)
    assert math.isnan(found.ratio)
    assert (found.interval.low, found.interval.high, found.p_value) == (0.0, math.inf, 1.0)


def test_two_rates_one_group_without_failure():
    assert compare_two_rates(3, 1.0, 0, 2.0).ratio == math.inf
    assert compare_two_rates(3, 1.0, 0, 2.0).interval.high == math.inf
    assert compare_two_rates(0, 1.0, 3, 2.0).ratio == 0.0
    assert compare_two_rates(0, 1.0, 3, 2.0).interval.low == 0.0


def test_two_rates_need_exposure():
    with pytest.raises(AnalysisError, match="must all be above zero"):
        compare_two_rates(0, 0.0, 3, 2.0)


def ratio_test_power(ratio, base, years, level):
    """Enumerate both counts: chance that the two-sided mid-P test rejects equal rates."""
    first, second = base * ratio * years, base * years
    grid_1 = np.arange(int(first + 9 * math.sqrt(first)) + 5)
    grid_0 = np.arange(int(second + 9 * math.sqrt(second)) + 5)
    total = grid_1[:, None] + grid_0[None, :]
    at_least = stats.binom.sf(grid_1[:, None] - 1, total, 0.5)
    above = stats.binom.sf(grid_1[:, None], total, 0.5)
    greater = 0.5 * (at_least + above)
    rejects = np.minimum(greater, 1 - greater) * 2 < level
    weights = stats.poisson.pmf(grid_1, first)[:, None] * stats.poisson.pmf(grid_0, second)[None, :]
    return float((weights * rejects).sum())


def test_midp_ratio_test_keeps_its_size_and_finds_a_doubling():
    """Fifty failures expected in each group: size .04 to .06 at .05, power at least .95 for a doubling."""
    assert 0.04 <= ratio_test_power(1.0, 0.25, 200.0, 0.05) <= 0.06
    assert ratio_test_power(2.0, 0.25, 200.0, 0.05) >= 0.95


def test_the_smallest_ratio_that_would_show_would_show_four_times_in_five():
    ratio = smallest_detectable_ratio(50.0, 50.0, 0.90)
    assert ratio_test_power(ratio, 0.25, 200.0, 0.10) == pytest.approx(0.80, abs=0.02)


def test_nothing_expected_shows_no_ratio():
    assert smallest_detectable_ratio(0.0, 5.0) == math.inf


def test_sandwich_by_hand():
    counts, exposures = np.array([0, 2, 1, 4]), np.array([2.0, 1.0, 3.0, 2.0])
    rate = counts.sum() / exposures.sum()
    variance = 4 / 3 * ((counts - rate * exposures) ** 2).sum() / exposures.sum() ** 2
    step = stats.t.ppf(0.95, 3) * math.sqrt(variance) / rate
    found = sandwich_interval(counts, exposures)
    assert (found.low, found.high) == pytest.approx((rate * math.exp(-step), rate * math.exp(step)), rel=1e-9)


@pytest.mark.parametrize(("counts", "exposures"), [([3], [2.0]), ([0, 0], [1.0, 1.0]), ([3, 0], [2.0, 0.0]), ([], [])])
def test_sandwich_needs_two_units_and_a_failure(counts, exposures):
    assert sandwich_interval(counts, exposures) is None


def test_combined_takes_the_wider_end_each_side():
    counts, exposures = [0, 0, 0, 9], [2.0, 2.0, 2.0, 2.0]
    exact, units = garwood_interval(9, 8.0), sandwich_interval(counts, exposures)
    found = combined_interval(counts, exposures)
    assert found.low == min(exact.low, units.low)
    assert found.high == max(exact.high, units.high)
    alike = combined_interval([3, 3, 3], [2.0, 2.0, 2.0])
    assert (alike.low, alike.high) == (garwood_interval(9, 6.0).low, garwood_interval(9, 6.0).high)


def test_combined_without_units_is_not_a_number():
    assert math.isnan(combined_interval([], []).high)
    assert isinstance(combined_interval([0], [0.0]), Interval)


def test_groups_are_bounded_each_by_its_own_units():
    groups = np.array([1, 0, 1, 0, 2])
    counts, exposures = np.array([1, 0, 4, 2, 1]), np.array([1.0, 2.0, 2.0, 2.0, 3.0])
    low, high = combined_limits(groups, counts, exposures)
    for group in range(3):
        one = combined_interval(counts[groups == group], exposures[groups == group])
        assert (low[group], high[group]) == pytest.approx((one.low, one.high), rel=1e-12)
    assert np.isnan(sandwich_limits(groups, counts, exposures)[0][2])


def test_combined_interval_covers_where_units_differ():
    """Simulated, seed 11: 2000 fleets of 150 units, gamma frailty with variance .8; Garwood alone is far too short."""
    rng = np.random.default_rng(11)
    fleets, units, rate = 2000, 150, 0.4
    exposures = rng.uniform(0.5, 6.0, (fleets, units))
    frailty = rng.gamma(1 / 0.8, 0.8, (fleets, units))
    counts = rng.poisson(rate * frailty * exposures)
    groups = np.repeat(np.arange(fleets), units)
    low, high = combined_limits(groups, counts.ravel(), exposures.ravel())
    covered = ((low <= rate) & (rate <= high)).mean()
    assert 0.88 <= covered <= 0.92
    low, high = garwood_limits(counts.sum(axis=1), exposures.sum(axis=1))
    assert ((low <= rate) & (rate <= high)).mean() < 0.82


def test_false_discovery_by_hand():
    """Fifteen p-values, q .05: the first four are named (example of Benjamini and Hochberg 1995, [from memory])."""
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528,
         0.7590, 1.0]  # fmt: skip
    assert list(np.flatnonzero(benjamini_hochberg(p, 0.05))) == [0, 1, 2, 3]


def test_false_discovery_agrees_with_the_general_library():
    p = np.random.default_rng(3).uniform(size=200) ** 3
    np.testing.assert_array_equal(benjamini_hochberg(p, 0.10), stats.false_discovery_control(p) <= 0.10)


def test_untested_findings_are_never_named():
    """0.06 passes alone at q = 0.10, not as the smaller of two; a blank beside it is no second test."""
    assert list(benjamini_hochberg([0.06, math.nan], 0.10)) == [True, False]
    assert list(benjamini_hochberg([0.06, math.nan, 0.9], 0.10)) == [False, False, False]
    assert benjamini_hochberg([], 0.10).size == 0


def test_false_discovery_refuses_what_is_no_p_value():
    with pytest.raises(AnalysisError, match="between 0 and 1"):
        benjamini_hochberg([0.5, 1.5])
