"""Draws of a fitted law: from the likelihood, from weighted refits, and of failures to come."""

import math
import time

import numpy as np
import pandas as pd
import pytest
from small_logs import histories_of, kept, unit, visit

from fleet.analysis.life import estimate_life
from fleet.analysis.life_chosen import choose_lives
from fleet.analysis.life_data import lives_of
from fleet.analysis.life_draws import (
    bootstrap_parameters,
    bootstrap_regions,
    draw_failures,
    draw_parameters,
    interval_of_draws,
)
from fleet.analysis.life_estimate import fit_chosen
from fleet.analysis.life_fit import KnownLives, fit_law, likelihood_region, starting_point
from fleet.analysis.life_laws import WEIBULL
from fleet.analysis.life_sample import life_sample
from fleet.errors import AnalysisError
from tests.studies import life_study


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
    weighed = choose_lives(lives).weighed(by_unit)
    plain = lives_of(pd.concat([group, group[group["unit_id"] == 1]]), like=group)
    doubled = choose_lives(plain).likelihood
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


def test_a_bootstrap_of_units_gives_intervals_like_the_likelihoods():
    frame = life_study.simulate_fleet(np.random.default_rng(2), 600)
    chosen = choose_lives(lives_of(frame))
    fits = fit_chosen(chosen, "run capacitor", laws=[WEIBULL])
    began = time.process_time()
    (booted,) = bootstrap_regions(chosen, fits, seed=1)
    assert time.process_time() - began < 20.0  # seconds for 200 refits of 600 units, on a slow machine too
    ratio = likelihood_region(fits[0], chosen.likelihood)
    assert booted.quantile(0.1).method == "weighted bootstrap of units"
    for one, other in ((booted.quantile(0.1), ratio.quantile(0.1)), (booted.shape(), ratio.shape())):
        width = math.log(other.high / other.low)
        assert math.log(one.low / other.low) == pytest.approx(0, abs=0.3 * width)  # chance in 200 refits
        assert math.log(one.high / other.high) == pytest.approx(0, abs=0.3 * width)


def test_bootstrap_limits_widen_where_units_differ():
    # each unit's twelve parts share a luck of their own: the likelihood ratio takes them for independent
    rng = np.random.default_rng(3)
    units = np.repeat(np.arange(40), 12)
    life = 9 * rng.lognormal(0, 0.6, 40)[units] * rng.weibull(3.0, units.size)
    frame = pd.DataFrame(
        {"unit_id": units, "birth": "known", "entry_age": 0.0, "at_most": np.nan, "quiet": 0.0, "watched": life,
         "ended": "failed", "found_since": np.nan, "unit_went": False}
    )  # fmt: skip
    chosen = choose_lives(lives_of(frame))
    fits = fit_chosen(chosen, "run capacitor", laws=[WEIBULL])
    (booted,) = bootstrap_regions(chosen, fits, 0.9, 100, seed=1)
    ratio = likelihood_region(fits[0], chosen.likelihood).scale()
    assert math.log(booted.scale().high / booted.scale().low) > 1.5 * math.log(ratio.high / ratio.low)


def test_the_answer_takes_bootstrap_limits_and_says_their_seed(tmp_path):
    name = "contactor"
    log = {
        "equipment": [unit(f"U{n:02d}", installed_on="2015-01-01") for n in range(40)],
        "visits": [visit(f"V{n}", f"U{n:02d}", f"20{16 + n % 7}-0{1 + n % 9}-10", finding=name) for n in range(30)],
        "parts_used": [{"visit_id": f"V{n}", "part_no": "C", "component": name, "why": "failed"} for n in range(30)],
        "coverage": [kept("2015-01-01", "2023-12-31")],
    }
    histories = histories_of(tmp_path, **log)
    plain, booted, again, other = (
        estimate_life(histories, component="contactor", interval=interval, seed=seed).table
        for interval, seed in (("likelihood", 0), ("bootstrap", 1), ("bootstrap", 1), ("bootstrap", 2))
    )
    answer = estimate_life(histories, component="contactor", interval="bootstrap", seed=1)
    with pytest.raises(AnalysisError, match="interval = 'wald' is not known"):
        estimate_life(histories, interval="wald")
    histories.close()
    assert (booted["b10"] == plain["b10"]).all()
    assert (booted["b10_low"] != plain["b10_low"]).all()
    pd.testing.assert_frame_equal(booted, again)
    assert (booted["b10_low"] != other["b10_low"]).all()
    assert any("200 refits" in note and "seed 1" in note for note in answer.notes)
