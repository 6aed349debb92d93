"""Stocking arithmetic: brute force beside each closed form, and the ends."""

import math

import numpy as np
import pytest
from scipy import stats

from fleet.errors import PlanError
from fleet.planning.newsvendor import (
    critical_ratio,
    expected_backorders_poisson,
    left_and_short_draws,
    left_and_short_pmf,
    negative_binomial_loss,
    normal_loss,
    optimal_stock_draws,
    optimal_stock_negative_binomial,
    optimal_stock_normal,
    optimal_stock_poisson,
    poisson_loss,
    reorder_level_fill_rate,
    season_cost,
)


def brute_best(pmf, cost_left, cost_short):
    """Price every stock and take the cheapest, the smallest of equals."""
    costs = []
    for stock in range(pmf.size):
        found = left_and_short_pmf(pmf, stock)
        costs.append(cost_left * found.left + cost_short * found.short)
    return int(np.argmin(np.round(costs, 9)))


@pytest.mark.parametrize("mean", [0.05, 0.7, 3.3, 12.0])
@pytest.mark.parametrize("cost_short", [0.4, 3.0, 20.0])
def test_poisson_stock_is_the_cheapest_of_all(mean, cost_short):
    pmf = stats.poisson.pmf(np.arange(120), mean)
    assert optimal_stock_poisson(mean, critical_ratio(cost_short, 1.0)) == brute_best(pmf, 1.0, cost_short)


@pytest.mark.parametrize("shape", [0.5, 2.0, 40.0])
@pytest.mark.parametrize("cost_short", [0.4, 3.0, 20.0])
def test_negative_binomial_stock_is_the_cheapest_of_all(shape, cost_short):
    pmf = stats.nbinom.pmf(np.arange(400), shape, shape / (shape + 4.0))
    best = optimal_stock_negative_binomial(4.0, shape, critical_ratio(cost_short, 1.0))
    assert best == brute_best(pmf, 1.0, cost_short)


def test_stock_from_draws_is_the_cheapest_of_all():
    draws = np.random.default_rng(1).negative_binomial(2, 0.3, size=501)
    for cost_short in (0.3, 1.0, 7.0):
        stocks = np.arange(60)
        left, short = left_and_short_draws(draws[:, None], stocks[None, :])
        costs = season_cost(left, short, cost_left=1.0, cost_short=cost_short)
        chosen = int(optimal_stock_draws(draws, critical_ratio(cost_short, 1.0)))
        assert costs[chosen] == pytest.approx(costs.min(), rel=1e-12)


def test_stock_from_draws_is_the_smallest_that_covers():
    draws = np.arange(1, 11)
    assert optimal_stock_draws(draws, 0.9) == 9
    assert optimal_stock_draws(draws, 0.91) == 10
    assert optimal_stock_draws(draws, 0.0) == 1
    assert optimal_stock_draws(draws, 1.0) == 10


def test_stock_from_draws_item_by_item():
    draws = np.array([[0, 5], [1, 9], [0, 7], [3, 6]])
    np.testing.assert_array_equal(optimal_stock_draws(draws, 0.75), [1, 7])
    left, short = left_and_short_draws(draws, [1, 7])
    np.testing.assert_allclose(left, [0.5, 0.75], rtol=1e-12)
    np.testing.assert_allclose(short, [0.5, 0.5], rtol=1e-12)


def test_no_draws_no_stock():
    with pytest.raises(PlanError, match="no draws"):
        optimal_stock_draws(np.empty((0, 3)), 0.9)


@pytest.mark.parametrize("stock", [-2, 0, 1, 6, 30])
def test_losses_are_sums_over_the_pmf(stock):
    demand = np.arange(400)
    short = np.maximum(demand - stock, 0)
    assert poisson_loss(4.0, stock) == pytest.approx(float(short @ stats.poisson.pmf(demand, 4.0)), abs=1e-10)
    expected = float(short @ stats.nbinom.pmf(demand, 1.5, 1.5 / 5.5))
    assert negative_binomial_loss(4.0, 1.5, stock) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("z", [-3.0, 0.0, 0.5, 4.0])
def test_normal_loss_is_its_integral(z):
    tail = stats.norm.expect(lambda x: x - z, lb=z)
    assert normal_loss(z) == pytest.approx(tail, rel=1e-6)


def test_no_demand_needs_no_stock():
    assert optimal_stock_poisson(0.0, 0.99) == 0
    assert poisson_loss(0.0, 0) == 0.0
    np.testing.assert_array_equal(expected_backorders_poisson(0.0, 2), [0.0, 0.0, 0.0])


def test_backorders_are_the_poisson_loss():
    found = expected_backorders_poisson(2.7, 12)
    np.testing.assert_allclose(found, [poisson_loss(2.7, s) for s in range(13)], atol=1e-12)


def test_fill_rate_level_gives_back_the_fill_rate():
    level = reorder_level_fill_rate(40, 30, 6, 0.97)
    assert 6 * normal_loss((level - 30) / 6) / 40 == pytest.approx(0.03, rel=1e-9)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: critical_ratio(0, 0), "one above zero"),
        (lambda: critical_ratio(-1, 2), "neither negative"),
        (lambda: critical_ratio(math.inf, 2), "cost of a piece short = inf"),
        (lambda: optimal_stock_poisson(-1, 0.5), "mean demand = -1"),
        (lambda: optimal_stock_poisson(3, 1.2), "must lie between 0 and 1"),
        (lambda: optimal_stock_poisson(3, 1.0), "must cost something"),
        (lambda: optimal_stock_negative_binomial(3, 0, 0.5), "shape = 0"),
        (lambda: optimal_stock_normal(3, 0, 0.5), "sd = 0"),
        (lambda: left_and_short_pmf([0.5, 0.2], 1), r"sum to 0\.700000"),
        (lambda: reorder_level_fill_rate(0, 30, 6, 0.97), "order_quantity = 0"),
    ],
)
def test_unusable_settings_are_refused(call, text):
    with pytest.raises(PlanError, match=text):
        call()
