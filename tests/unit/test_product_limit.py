"""The product-limit curve with entry ages, its rules for ties and its start; shares ended by competing causes."""

import math

import numpy as np
import pytest

from fleet.analysis.product_limit import cumulative_incidence, product_limit
from fleet.errors import AnalysisError


def test_ties_a_part_leaving_unfailed_is_still_at_risk_and_one_coming_is_not():
    # at age 2: one fails, one leaves, one comes (entry 2); at risk are the first three only
    curve = product_limit([0, 0, 0, 2], [2, 2, 5, 5], [True, False, False, False], fewest=1)
    assert curve.at_risk.tolist() == [3]
    assert curve.survival == pytest.approx([2 / 3])


def test_the_curve_begins_where_enough_are_at_risk():
    entry = [0.0, *[3.0] * 9, 4.0]
    leave = [3.5, *[9.0] * 9, 9.0]
    curve = product_limit(entry, leave, [True, True, *[False] * 9], fewest=10)
    assert curve.starts_at == 3.0
    assert curve.at_risk_at_start == 10
    assert curve.ages.tolist() == [3.5, 9.0]
    curve = product_limit(entry, [2.0, *leave[1:]], [True] * 11, fewest=10)
    assert curve.starts_at == 4.0  # the early failure, among one, is left out


def test_it_ends_being_read_where_too_few_are_left():
    leave = np.arange(1.0, 21.0)
    curve = product_limit(0.0, leave, [True] * 20, fewest=10)
    assert (curve.ends_at, curve.at_risk_at_end) == (11.0, 10)


def test_never_enough_at_risk_is_no_curve():
    assert product_limit(0.0, [1.0, 2.0], [True, True]) is None
    assert product_limit([], [], []) is None
    assert cumulative_incidence(0.0, [1.0, 2.0], [0, 0], ("failed",)) is None


def test_no_failure_is_a_flat_curve():
    curve = product_limit(0.0, [5.0] * 12, [False] * 12)
    assert curve.ages.size == 0
    assert curve.at(3.0) == (1.0, 1.0, 1.0)


def test_values_between_failures_hold_from_the_last():
    curve = product_limit(0.0, [2.0, 4.0, 6.0, 8.0], [True] * 4, fewest=1)
    assert [curve.at(age)[0] for age in (1.9, 2.0, 3.9, 4.0)] == [1.0, 0.75, 0.75, 0.5]


def test_limits_hold_the_curve_and_are_blank_when_all_have_failed():
    curve = product_limit(0.0, np.arange(1.0, 13.0), [True] * 12)
    assert (curve.low[:-1] < curve.survival[:-1]).all()
    assert (curve.survival[:-1] < curve.high[:-1]).all()
    assert math.isnan(curve.low[-1])
    assert math.isnan(curve.high[-1])
    assert curve.survival[-1] == 0.0


def test_lives_that_leave_before_they_came_are_refused():
    with pytest.raises(AnalysisError, match="1 of 2 lives don't leave after they came"):
        product_limit([0.0, 3.0], [1.0, 2.0], [True, True])


def test_shares_of_causes_by_hand():
    # four parts: a at 1, b at 2, still working at 3, a at 4
    found = cumulative_incidence(0.0, [1.0, 2.0, 3.0, 4.0], [0, 1, -1, 0], ("a", "b"), fewest=1)
    assert found.ages.tolist() == [1.0, 2.0, 4.0]
    assert found.share[0] == pytest.approx([0.25, 0.25, 0.75])
    assert found.share[1] == pytest.approx([0.0, 0.25, 0.25])
    assert found.at(0.5).tolist() == [0.0, 0.0]
    assert found.at(2.5) == pytest.approx([0.25, 0.25])


def test_shares_of_causes_and_the_share_left_add_up_to_one():
    rng = np.random.default_rng(1)
    leave = rng.exponential(3.0, 300)
    cause = rng.integers(-1, 3, 300)
    found = cumulative_incidence(0.0, leave, cause, ("a", "b", "c"))
    left = product_limit(0.0, leave, cause >= 0)
    assert found.share.sum(axis=0) == pytest.approx(1.0 - left.survival)


def test_one_minus_the_curve_of_a_cause_is_more_than_its_share():
    # with the other cause removed more parts would live to fail of this one
    rng = np.random.default_rng(2)
    leave, cause = rng.exponential(3.0, 300), rng.integers(0, 2, 300)
    found = cumulative_incidence(0.0, leave, cause, ("a", "b"))
    alone = product_limit(0.0, leave, cause == 0)
    assert 1.0 - alone.at(3.0)[0] > found.at(3.0)[0] + 0.05


def test_the_error_of_a_share_with_one_cause_is_greenwoods():
    leave = np.arange(1.0, 101.0)
    found = cumulative_incidence(0.0, leave, np.zeros(100, dtype=int), ("a",))
    curve = product_limit(0.0, leave, [True] * 100)
    assert found.sd[0, :60] == pytest.approx(curve.sd[:60], rel=0.02)  # d/n^2 for Greenwood's d/(n(n-d))


def test_the_error_of_a_share_is_what_it_varies_by():
    rng = np.random.default_rng(0)
    shares, errors = [], []
    for _ in range(400):
        a, b, entry = rng.exponential(5, 80), rng.exponential(8, 80), rng.uniform(0, 2, 80) * (rng.random(80) < 0.5)
        leave, cause = np.minimum(np.minimum(a, b), 9.0), np.where(a < b, 0, 1)
        cause[leave == 9.0] = -1
        seen = leave > entry
        found = cumulative_incidence(entry[seen], leave[seen], cause[seen], ("a", "b"))
        shares.append(found.at(4.0))
        errors.append(found.sd[:, np.searchsorted(found.ages, 4.0, side="right") - 1])
    rate = 1 / 5 + 1 / 8
    truth = np.array([1 / 5, 1 / 8]) / rate * (1 - math.exp(-4 * rate))
    assert np.mean(shares, axis=0) == pytest.approx(truth, abs=0.01)
    assert np.sqrt(np.mean(np.square(errors), axis=0)) == pytest.approx(np.std(shares, axis=0), rel=0.12)  # 400 draws
