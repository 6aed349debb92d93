"""The plan's own machinery against published answers: stocking curves, and a whole log counted into a rate.

Snyder and Shen, Fundamentals of Supply Chain Theory, examples as printed in the documentation of the book's companion
library (read); Sherbrooke, Optimal Inventory Modeling of Systems (formula standard, values computed independently);
one rate with several intervals, as a statistics library's tests quote another's output (read); horse-kick deaths, as
the manual of a public statistics package prints them (read; data of von Bortkiewicz 1898).
"""

import datetime as dt

import numpy as np
import pytest
from scipy import stats
from small_logs import histories_of, kept, unit, visit

from fleet.analysis.rates import estimate_rates
from fleet.planning.levels import Curves, cheapest_levels, cost_of, expected_left, expected_short, need_curves


def poisson_curves(mean, top=200):
    """Return the exact curves of one line whose need is Poisson."""
    over = stats.poisson.sf(np.arange(top), mean)[None, :]
    one = np.array([float(mean)])
    return Curves(over=over, cycle_mean=one, repeats=np.ones(1), mean=one)


def poisson_futures(mean, n=200_000):
    """Return futures spread evenly over a Poisson law: its quantiles at the middles of n equal slices."""
    return stats.poisson.ppf((np.arange(n) + 0.5) / n, mean).astype(np.int32)[:, None]


@pytest.mark.parametrize(
    ("mean", "cost_left", "cost_short", "stock", "cost"), [(50, 0.18, 0.70, 56, 1.797235), (6, 1.0, 4.0, 8, 3.570107)]
)
def test_poisson_newsvendor_by_the_plans_levels(mean, cost_left, cost_short, stock, cost):
    """Snyder and Shen, Poisson newsvendor (read)."""
    short, left, none = np.array([cost_short]), np.array([cost_left]), np.zeros(1, dtype=np.int64)
    level = cheapest_levels(poisson_curves(mean), short, left, none)
    assert level.tolist() == [stock]
    assert cost_of(poisson_curves(mean), short, left, level) == pytest.approx(cost, abs=5e-7)
    drawn = need_curves(poisson_futures(mean))
    assert cheapest_levels(drawn, short, left, none).tolist() == [stock]
    assert cost_of(drawn, short, left, level) == pytest.approx(cost, rel=2e-4)  # 200,000 slices of the law


def test_poisson_newsvendor_away_from_the_best_stock():
    """Snyder and Shen (read): a stock of 5 against a mean of 6 costs 6.590296."""
    cost = cost_of(poisson_curves(6), np.array([4.0]), np.array([1.0]), np.array([5]))
    assert cost == pytest.approx(6.590296, abs=5e-7)


@pytest.mark.parametrize(
    ("mean", "backorders"),
    [
        (1.0, [1.0000, 0.3679, 0.1036, 0.0233, 0.0043]),
        (4.0, [4.0000, 3.0183, 2.1099, 1.3480, 0.7815, 0.4103, 0.1954, 0.0848, 0.0336]),
    ],
)
def test_expected_backorders(mean, backorders):
    """Sherbrooke's building block: expected backorders of a Poisson pipeline at each stock (values to 4 places)."""
    curves = poisson_curves(mean)
    for stock, expected in enumerate(backorders):
        assert expected_short(curves, np.array([stock]))[0] == pytest.approx(expected, abs=5e-5)
        left = stock - mean + expected
        assert expected_left(curves, np.array([stock]))[0] == pytest.approx(left, abs=5e-5)


def test_poisson_loss():
    """Snyder and Shen, appendix C (read): mean 15, stock 18."""
    assert expected_short(poisson_curves(15), np.array([18]))[0] == pytest.approx(0.5176095, abs=5e-8)


def alike_units(folder, *, failures, units, days):
    """Build a log of so many units watched for so many days, the failures spread over different units.

    Every failure is the finding of one visit; units are alike, so that only the law of counts is left.
    """
    first = dt.date(2000, 1, 1)
    last = first + dt.timedelta(days=days - 1)
    tags = [f"U{i:03d}" for i in range(units)]
    apart = days // (failures // units + 1)  # over 30 days, so that each is a chain of its own
    when = [(first + dt.timedelta(days=(i // units) * apart + i % units)).isoformat() for i in range(failures)]
    return histories_of(
        folder,
        coverage=[kept(first.isoformat(), last.isoformat())],
        equipment=[unit(tag, installed_on="1995-01-01") for tag in tags],
        visits=[visit(f"V{i}", tags[i % units], day, finding="fan motor") for i, day in enumerate(when)],
    )


def test_fifteen_failures_in_400_unit_years(tmp_path):
    """15 events, exposure 400 (read): exact 95 % limits .0209884653 and .0618505472, from the log to the rate.

    100 units are watched for 1461 days, four years with their leap day.
    """
    answer = estimate_rates(alike_units(tmp_path, failures=15, units=100, days=1461), level=0.95)
    row = answer.to_frame().set_index("component").loc["fan motor"]
    assert (row["failures"], row["unit_years"]) == (15, pytest.approx(400, abs=1e-9))
    assert row["rate"] == pytest.approx(0.0375)
    assert row["low"] == pytest.approx(0.0209884653, abs=5e-11)
    assert row["high"] == pytest.approx(0.0618505472, abs=5e-11)


def test_horse_kicks_as_failures(tmp_path):
    """196 deaths in 280 corps-years (read): rate 0.7, exact 95 % limits .6054271 and .8051570.

    14 corps for 20 years are 14 units for 7305 days; each has 14 failures, over 30 days apart.
    """
    answer = estimate_rates(alike_units(tmp_path, failures=196, units=14, days=7305), level=0.95)
    row = answer.to_frame().set_index("component").loc["fan motor"]
    assert (row["failures"], row["unit_years"]) == (196, pytest.approx(280, abs=1e-9))
    assert row["rate"] == pytest.approx(0.7)
    assert row["low"] == pytest.approx(0.6054271, abs=5e-8)
    assert row["high"] == pytest.approx(0.8051570, abs=5e-8)
