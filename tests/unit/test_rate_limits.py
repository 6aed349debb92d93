"""Mid-P limits, limits widened where units differ, and the ratio the data could have shown, against enumeration."""

import math

import numpy as np
import pytest
from scipy import stats

from fleet.analysis.poisson import combined_limits, midp_interval, sandwich_limits
from fleet.analysis.rate_limits import (
    LARGEST_RATIO,
    chance_to_show,
    check_interval,
    group_limits,
    midp_limits,
    smallest_ratio_shown,
)
from fleet.analysis.rate_ratios import UnitCounts, group_ratio
from fleet.errors import AnalysisError


def test_midp_limits_are_those_of_each_rate_alone():
    low, high = midp_limits([0, 3, 3, 17], [2.0, 5.0, 1.0, 0.5], 0.9)
    for i, (n, years) in enumerate([(0, 2.0), (3, 5.0), (3, 1.0), (17, 0.5)]):
        alone = midp_interval(n, years, 0.9)
        assert (low[i], high[i]) == (pytest.approx(alone.low), pytest.approx(alone.high))


def test_midp_limits_solve_their_equations():
    """P(X > n) + P(X = n)/2 is a twentieth at the low end and nineteen at the high one."""
    low, high = midp_limits([7], [1.0], 0.9)
    for mean, tail in ((low[0], 0.05), (high[0], 0.95)):
        assert stats.poisson.sf(7, mean) + stats.poisson.pmf(7, mean) / 2 == pytest.approx(tail, rel=1e-8)


def test_no_exposure_has_no_limits():
    low, high = midp_limits([0], [0.0])
    assert np.isnan(low[0])
    assert np.isnan(high[0])


def test_group_limits_take_the_wider_of_chance_and_unlike_units():
    groups, counts, years = [0, 0, 0, 1, 1], [0, 0, 12, 4, 4], [1.0] * 5
    exact = group_limits(groups, counts, years)
    assert [list(ends) for ends in exact] == [list(ends) for ends in combined_limits(groups, counts, years)]
    low, high = group_limits(groups, counts, years, interval="mid-p")
    unlike = sandwich_limits(groups, counts, years)
    assert (low[0], high[0]) == (unlike[0][0], unlike[1][0])  # twelve failures of one unit alone
    chance = midp_interval(8, 2.0)
    assert (low[1], high[1]) == (pytest.approx(chance.low), pytest.approx(chance.high))


def enumerated(ratio, expected_0, expected_1, interval):
    """Walk over both counts: the definition of the test's power, by scipy's binomial."""
    mean_1, share = ratio * expected_1, expected_1 / (expected_0 + expected_1)
    first = np.arange(int(mean_1 + 9 * math.sqrt(mean_1) + 15))[:, None]
    second = np.arange(int(expected_0 + 9 * math.sqrt(expected_0) + 15))[None, :]
    p = stats.binom.sf(first - 1, first + second, share)
    p = p if interval == "exact" else p - 0.5 * stats.binom.pmf(first, first + second, share)
    return float(((p <= 0.05) * stats.poisson.pmf(first, mean_1) * stats.poisson.pmf(second, expected_0)).sum())


@pytest.mark.parametrize("interval", ["exact", "mid-p"])
@pytest.mark.parametrize(("expected_0", "expected_1"), [(3.0, 3.0), (10.0, 2.0), (0.6, 4.0)])
def test_the_smallest_ratio_is_seen_four_times_in_five(expected_0, expected_1, interval):
    ratio = smallest_ratio_shown(expected_0, expected_1, 0.9, interval=interval)
    assert enumerated(ratio, expected_0, expected_1, interval) == pytest.approx(0.80, abs=2e-4)
    assert chance_to_show(ratio, expected_0, expected_1, 0.9, interval=interval) == pytest.approx(0.80, abs=2e-4)


def test_many_failures_agree_with_the_normal_formula():
    """Either side of the change from adding up to the formula: log R = 2.4865 sqrt(1/E0 + 1/(E1 R))."""
    for each in (99.0, 101.0):
        ratio = smallest_ratio_shown(each, each)
        # the exact test needs a little more than the formula, which takes counts for continuous
        assert math.log(ratio) == pytest.approx(2.48647 * math.sqrt((1 + 1 / ratio) / each), rel=0.02)


def test_unlike_units_need_a_larger_ratio():
    alike = smallest_ratio_shown(40.0, 40.0)
    unlike = smallest_ratio_shown(40.0, 40.0, inflation=3.0, freedom=20.0)
    few = smallest_ratio_shown(40.0, 40.0, inflation=3.0, freedom=3.0)
    assert alike < unlike < few
    assert math.log(smallest_ratio_shown(900.0, 900.0, inflation=4.0)) == pytest.approx(
        2 * math.log(smallest_ratio_shown(900.0, 900.0)), rel=0.05
    )  # 0.05: the ratio's own failures shrink its variance, so doubling is not exact


def test_little_data_shows_no_ratio_at_all():
    assert smallest_ratio_shown(0.001, 0.001) == math.inf
    assert smallest_ratio_shown(0.0, 5.0) == math.inf
    units = UnitCounts(groups=np.array([0, 1]), counts=np.array([0.0, 1.0]), years=np.array([0.002, 20.0]))
    found = group_ratio(0, units, 0.9, against=None)
    assert math.isnan(found.smallest_seen)
    assert f"would not show even a ratio of {LARGEST_RATIO:.0f}" in found.note


def test_the_smallest_ratio_stands_beside_a_ratio_that_is_seen():
    units = UnitCounts(
        groups=np.repeat([0, 1], 30), counts=np.repeat([2.0, 1.0], 30), years=np.full(60, 2.0)
    )  # fmt: skip
    found = group_ratio(0, units, 0.9, against=None)
    assert found.low > 1
    assert found.note == ""
    assert 1 < found.smallest_seen < 2
    assert group_ratio(0, units, 0.9, against=0).note == "the group ratios are taken to"


def test_unknown_intervals_are_refused():
    with pytest.raises(AnalysisError, match="interval = 'wald' is not known; choose from exact, mid-p"):
        check_interval("wald")
