"""Draws of a fitted law: from the likelihood, from weighted refits, and of failures to come."""

import math

import numpy as np
import pandas as pd
import pytest

from fleet.analysis.life_data import lives_of
from fleet.analysis.life_draws import bootstrap_parameters, draw_failures, draw_parameters, interval_of_draws
from fleet.analysis.life_estimate import group_likelihood
from fleet.analysis.life_fit import KnownLives, fit_law, likelihood_region, starting_point
from fleet.analysis.life_laws import WEIBULL
from fleet.analysis.life_sample import life_sample
from fleet.errors import AnalysisError


def fitted(n=300, *, seed=1):
    rng = np.random.default_rng(seed)
    life = 9 * rng.weibull(2.2, n)
    sample = life_sample(0.0, np.minimum(life, 6.0), np.where(life <= 6.0, life, math.inf))
    known = KnownLives.of(sample)
    return fit_law(WEIBULL, known, starting_point(WEIBULL, sample.failures, sample.years)), known, sample


def test_drawn_parameters_lie_where_the_likelihood_is():
    fit, known, _ = fitted()
    thetas = draw_parameters(fit, known, 2000, seed=1)
    assert thetas.shape == (2000, 2)
    assert thetas.mean(axis=0) == pytest.approx(fit.theta, abs=0.03)
    assert np.cov(thetas.T) == pytest.approx(fit.covariance, rel=0.25, abs=1e-3)  # near normal at 100 failures


def test_three_ways_to_an_interval_agree_in_many_lives():
    fit, known, sample = fitted(1500)
    ratio = likelihood_region(fit, known).quantile(0.1)
    drawn = interval_of_draws(fit, draw_parameters(fit, known, 2000, seed=2), 0.1)
    refits = bootstrap_parameters(fit, lambda w: KnownLives.of(sample, w), len(sample), 300, seed=3)
    booted = interval_of_draws(fit, refits, 0.1)
    width = math.log(ratio.high / ratio.low)
    for other in (drawn, booted):
        assert math.log(other.low / ratio.low) == pytest.approx(0, abs=0.25 * width)  # chance in the draws
        assert math.log(other.high / ratio.high) == pytest.approx(0, abs=0.25 * width)


def test_a_groups_likelihood_can_be_weighed_by_unit():
    group = pd.DataFrame(
        {
            "unit_id": [1, 1, 2, 3],
            "birth": ["bounded", "known", "known", "bounded"],
            "entry_age": [np.nan, 0.0, 0.0, np.nan],
            "at_most": [5.0, np.nan, np.nan, 7.0],
            "quiet": 0.0,
            "watched": [1.0, 2.0, 3.0, 4.0],
            "ended": ["failed", "failed", "in service", "failed"],
            "found_since": np.nan,
            "unit_went": False,
        }
    )
    lives, theta = lives_of(group), np.log([9.0, 2.0])
    by_unit = np.array([0.0, 2.0, 1.0, 1.0])
    weighed = group_likelihood(lives, by_unit[lives.known_unit], by_unit[lives.unknown_unit])
    plain = lives_of(pd.concat([group, group[group["unit_id"] == 1]]), like=group)
    doubled = group_likelihood(plain, None, None)
    assert weighed.value(WEIBULL, theta) == pytest.approx(doubled.value(WEIBULL, theta), rel=1e-9)


def test_the_same_seed_gives_the_same_draws():
    fit, known, sample = fitted(60)
    for draw in (
        lambda seed: draw_parameters(fit, known, 50, seed=seed),
        lambda seed: bootstrap_parameters(fit, lambda w: KnownLives.of(sample, w), len(sample), 5, seed=seed),
    ):
        assert (draw(1) == draw(1)).all()
        assert not (draw(1) == draw(2)).all()


def test_failures_to_come_are_drawn_at_their_chance():
    fit, _, _ = fitted()
    ages = np.array([0.0, 3.0, 6.0] * 50)
    counts = draw_failures(fit, np.tile(fit.theta, (2000, 1)), ages, 2.0, seed=1)
    alive = WEIBULL.survival(fit.theta, ages)
    expected = (1 - WEIBULL.survival(fit.theta, ages + 2.0) / alive).sum()
    assert counts.mean() == pytest.approx(expected, rel=0.02)  # 2000 draws


def test_an_unsettled_fit_gives_no_draws():
    known = KnownLives.of(life_sample(0.0, [5.0] * 6, [5.0] * 6))
    fit = fit_law(WEIBULL, known, starting_point(WEIBULL, 6, 30.0))
    with pytest.raises(AnalysisError, match="no draws from a Weibull fit with trouble"):
        draw_parameters(fit, known, 10, seed=1)
