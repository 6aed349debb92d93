"""Stocking arithmetic against textbook examples.

Snyder and Shen, Fundamentals of Supply Chain Theory, examples as printed in the documentation of the book's companion
library (read); Silver, Pyke and Thomas, Inventory and Production Management in Supply Chains [from memory];
Sherbrooke, Optimal Inventory Modeling of Systems (formula standard, values computed independently).
"""

import numpy as np
import pytest
from scipy import stats

from fleet.planning.newsvendor import (
    critical_ratio,
    expected_backorders_poisson,
    left_and_short_pmf,
    negative_binomial_loss,
    normal_loss,
    optimal_stock_lognormal,
    optimal_stock_normal,
    optimal_stock_poisson,
    poisson_loss,
    reorder_level_cycle_service,
    reorder_level_fill_rate,
    season_cost,
)


def poisson_cost(mean, stock, *, cost_left, cost_short):
    pmf = stats.poisson.pmf(np.arange(int(mean + 30 * mean**0.5) + 10), mean)
    expected = left_and_short_pmf(pmf, stock)
    return float(season_cost(expected.left, expected.short, cost_left=cost_left, cost_short=cost_short))


def normal_cost(mean, sd, stock, *, cost_left, cost_short):
    short = sd * normal_loss((stock - mean) / sd)
    return float(season_cost(stock - mean + short, short, cost_left=cost_left, cost_short=cost_short))


def test_newsvendor_normal():
    """Snyder and Shen, example 4.3 (read): h .18, p .70, N(50, 8)."""
    ratio = critical_ratio(0.70, 0.18)
    assert ratio == pytest.approx(0.795455, rel=1e-6)
    assert optimal_stock_normal(50, 8, ratio) == pytest.approx(56.60396, rel=1e-6)
    assert normal_cost(50, 8, 56.60396, cost_left=0.18, cost_short=0.70) == pytest.approx(1.997605, rel=1e-6)
    assert normal_cost(50, 8, 60, cost_left=0.18, cost_short=0.70) == pytest.approx(2.156132, rel=1e-6)


@pytest.mark.parametrize(
    ("mean", "cost_left", "cost_short", "stock", "cost"), [(50, 0.18, 0.70, 56, 1.797235), (6, 1, 4, 8, 3.570107)]
)
def test_newsvendor_poisson(mean, cost_left, cost_short, stock, cost):
    """Snyder and Shen, Poisson newsvendor (read)."""
    assert optimal_stock_poisson(mean, critical_ratio(cost_short, cost_left)) == stock
    assert poisson_cost(mean, stock, cost_left=cost_left, cost_short=cost_short) == pytest.approx(cost, rel=1e-6)


def test_newsvendor_poisson_away_from_the_best_stock():
    """Snyder and Shen (read): stock of 5 against a mean of 6."""
    assert poisson_cost(6, 5, cost_left=1, cost_short=4) == pytest.approx(6.590296, rel=1e-6)


def test_newsvendor_lognormal():
    """Snyder and Shen, problem 4.8b (read): ln-mean 6, sd .3, overage 1, underage .1765."""
    assert optimal_stock_lognormal(6, 0.3, critical_ratio(0.1765, 1.0)) == pytest.approx(295.6266, rel=1e-6)


def test_loss_functions():
    """Snyder and Shen, appendix C, as the companion library prints them (read)."""
    assert normal_loss(1.3) == pytest.approx(0.0455280, rel=1e-6)
    assert 3 * normal_loss((18.6 - 15) / 3) == pytest.approx(0.168307, rel=1e-5)
    assert poisson_loss(15, 18) == pytest.approx(0.5176095, rel=1e-6)
    # r 4 and p .2: mean r (1 - p) / p.
    assert negative_binomial_loss(4 * 0.8 / 0.2, 4, 14) == pytest.approx(4.447305, rel=1e-6)
    # The geometric with p .2 counts trials; less one it is this negative binomial with shape 1.
    assert negative_binomial_loss(4.0, 1, 6) == pytest.approx(1.048576, rel=1e-6)


def test_safety_stock_by_cycle_service():
    """Silver, Pyke and Thomas [from memory]: lead-time demand 58.3, sd 13.1, service .90 gives 75."""
    assert reorder_level_cycle_service(58.3, 13.1, 0.90) == pytest.approx(75.07, rel=1e-3)  # k printed as 1.28


def test_safety_stock_by_fill_rate():
    """Silver, Pyke and Thomas [from memory]: Q 200, demand 50, sd 11.4, fill .99 gives k .58 and 57."""
    level = reorder_level_fill_rate(200, 50, 11.4, 0.99)
    assert round(level) == 57
    assert normal_loss((level - 50) / 11.4) == pytest.approx(0.1754, rel=5e-4)
    assert round((level - 50) / 11.4, 2) == 0.58


def test_expected_backorders():
    """Sherbrooke's building block; values computed independently by summing the pmf, to four decimals."""
    np.testing.assert_allclose(
        expected_backorders_poisson(1.0, 4), [1.0, 0.3679, 0.1036, 0.0233, 0.0043], atol=5e-5, rtol=0
    )
    expected = [4.0, 3.0183, 2.1099, 1.3480, 0.7815, 0.4103, 0.1954, 0.0848, 0.0336]
    np.testing.assert_allclose(expected_backorders_poisson(4.0, 8), expected, atol=5e-5, rtol=0)
