"""Fits: convergence, boundaries, priors, and intervals read off the likelihood region."""

import math

import numpy as np
import pytest

from fleet.analysis.life_fit import (
    KnownLives,
    Prior,
    fit_law,
    likelihood_region,
    matching_point,
    starting_point,
)
from fleet.analysis.life_laws import LAWS, LOG_LOGISTIC, LOGNORMAL, WEIBULL
from fleet.analysis.life_sample import life_sample

INF = math.inf


def drawn(n, *, seed=1, shape=2.2, scale=9.0, watch=6.0):
    rng = np.random.default_rng(seed)
    life = scale * rng.weibull(shape, n)
    entry = np.where(rng.random(n) < 0.5, rng.uniform(0, 8, n), 0.0)
    entry, life = entry[life > entry], life[life > entry]
    leave = np.minimum(life, entry + watch)
    return life_sample(entry, leave, np.where(life <= entry + watch, leave, INF))


def fitted(law, sample, **settings):
    known = KnownLives.of(sample)
    return fit_law(law, known, starting_point(law, sample.failures, sample.years), **settings), known


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_a_fit_stands_on_the_top(law):
    fit, known = fitted(law, drawn(500))
    assert fit.trouble == ""
    value, slope, hessian = known.expand(law, fit.theta)
    assert value == known.value(law, fit.theta) == fit.log_likelihood
    assert slope == pytest.approx([0, 0], abs=1e-4)
    assert np.linalg.eigvalsh(hessian).max() < 0
    assert np.linalg.inv(-hessian) == pytest.approx(fit.covariance)


def test_the_truth_is_found_in_many_lives():
    fit, _ = fitted(WEIBULL, drawn(40_000))
    assert fit.shape == pytest.approx(2.2, rel=0.02)
    assert fit.scale == pytest.approx(9.0, rel=0.01)


def test_any_start_leads_to_the_same_place():
    sample = drawn(200)
    best, known = fitted(WEIBULL, sample)
    for start in ([0.0, 0.0], [5.0, 2.0], [2.0, -1.0], [-1.0, 1.0]):
        other = fit_law(WEIBULL, known, np.array(start))
        assert other.theta == pytest.approx(best.theta, abs=1e-5), start


def test_an_absurd_start_is_owned_up_to():
    # at a scale of weeks and a shape of twenty no life of years is possible in any number of digits: nothing to climb
    known = KnownLives.of(drawn(200))
    assert fit_law(WEIBULL, known, np.array([-3.0, 3.0])).trouble != ""


@pytest.mark.parametrize("law", [LOGNORMAL, LOG_LOGISTIC], ids=lambda law: law.name)
def test_matching_point_keeps_the_median_and_the_spread(law):
    fit, _ = fitted(WEIBULL, drawn(200))
    theta = matching_point(law, fit)
    assert law.quantile(theta, 0.5) == pytest.approx(fit.quantile(0.5))
    assert law.log_sd / math.exp(theta[1]) == pytest.approx(WEIBULL.log_sd / fit.shape)


def test_one_failure_age_has_no_best_shape():
    fit, _ = fitted(WEIBULL, life_sample(0.0, [5.0] * 6, [5.0] * 6))
    assert fit.trouble != ""


def test_a_prior_gives_few_failures_a_shape():
    sample = life_sample(0.0, [5.0] * 6, [5.0] * 6)
    prior = Prior(log_scale=math.log(9), log_scale_sd=0.6, log_shape=math.log(2), log_shape_sd=0.35)
    fit, known = fitted(WEIBULL, sample, prior=prior)
    assert fit.trouble == ""
    assert 2.0 < fit.shape < 6.0
    region = likelihood_region(fit, known)
    assert region.closed
    assert region.shape().method == "likelihood ratio with a weak prior"


def test_a_prior_fades_with_the_data():
    prior = Prior(log_scale=math.log(20), log_scale_sd=0.6, log_shape=0.0, log_shape_sd=0.35)
    shift = []
    for n in (30, 3000):
        sample = drawn(n)
        shift.append(abs(fitted(WEIBULL, sample, prior=prior)[0].theta - fitted(WEIBULL, sample)[0].theta).max())
    assert shift[1] < 0.05 * shift[0]


def test_the_border_lies_where_the_likelihood_has_fallen():
    fit, known = fitted(WEIBULL, drawn(60))
    region = likelihood_region(fit, known, 0.90)
    fallen = [2 * (fit.log_likelihood - known.value(WEIBULL, theta)) for theta in region.border]
    assert region.closed
    assert fallen == pytest.approx([2.7055] * len(fallen), rel=2e-3)  # traced to 3 in 10,000 of the root


def test_intervals_hold_their_estimate_and_widen_with_the_level():
    fit, known = fitted(WEIBULL, drawn(60))
    narrow, wide = (likelihood_region(fit, known, level) for level in (0.5, 0.95))
    for quantity in ("shape", "scale"):
        inner, outer = getattr(narrow, quantity)(), getattr(wide, quantity)()
        assert outer.low < inner.low < getattr(fit, quantity) < inner.high < outer.high
    assert wide.quantile(0.1).low < fit.quantile(0.1) < wide.quantile(0.1).high


def test_intervals_shrink_with_the_root_of_the_lives():
    widths = []
    for n in (400, 40_000):
        fit, known = fitted(WEIBULL, drawn(n))
        limits = likelihood_region(fit, known).quantile(0.1)
        widths.append(math.log(limits.high / limits.low))
    assert widths[0] / widths[1] == pytest.approx(10, rel=0.15)  # chance in the smaller sample


def test_other_units_of_age_only_scale_the_answer():
    sample = drawn(80)
    days = life_sample(sample.entry * 365.25, sample.low * 365.25, sample.high * 365.25)
    (years_fit, years), (days_fit, in_days) = fitted(WEIBULL, sample), fitted(WEIBULL, days)
    assert days_fit.shape == pytest.approx(years_fit.shape, rel=1e-6)
    limits = [likelihood_region(f, k).quantile(0.1) for f, k in ((years_fit, years), (days_fit, in_days))]
    assert limits[1].low == pytest.approx(365.25 * limits[0].low, rel=1e-3)


def test_a_hundred_thousand_lives_come_down_to_their_ages():
    rng = np.random.default_rng(3)
    life = np.floor(9 * 365.25 * rng.weibull(2.2, 100_000)) + 1
    leave = np.minimum(life, 2000.0)
    known = KnownLives.of(life_sample(0.0, leave / 365.25, np.where(life <= 2000, leave, INF) / 365.25))
    assert known.terms.event_age.size <= 2000
    assert known.terms.survived_age.size == 1
