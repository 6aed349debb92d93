"""Laws weighed and averaged: weights, the averaged curve, its limits and how far the laws lie apart."""

import math

import numpy as np
import pytest

from fleet.analysis.life_average import akaike_weights, average_laws
from fleet.analysis.life_fit import KnownLives, fit_law, likelihood_region, starting_point
from fleet.analysis.life_laws import LAWS, WEIBULL
from fleet.analysis.life_sample import life_sample
from fleet.errors import AnalysisError


def regions_of(n, laws=LAWS, *, seed=1):
    rng = np.random.default_rng(seed)
    life = 9 * rng.weibull(2.2, n)
    sample = life_sample(0.0, np.minimum(life, 6.0), np.where(life <= 6.0, life, math.inf))
    known = KnownLives.of(sample)
    start = (sample.failures, sample.years)
    return [likelihood_region(fit_law(law, known, starting_point(law, *start)), known) for law in laws]


def test_weights_follow_akaike():
    fits = [r.fit for r in regions_of(100)]
    weights = akaike_weights([fit.aic for fit in fits])
    assert weights.sum() == pytest.approx(1.0)
    assert weights[0] / weights[1] == pytest.approx(math.exp(0.5 * (fits[1].aic - fits[0].aic)))


def test_in_many_lives_the_true_law_wins():
    assert average_laws(regions_of(20_000)).weights[0] > 0.99


def test_the_averaged_age_lies_among_the_laws_and_on_the_averaged_curve():
    average = average_laws(regions_of(100))
    least, greatest = average.spread(0.1)
    assert least <= average.quantile(0.1) <= greatest
    assert average.survival(np.array([average.quantile(0.1)]))[0] == pytest.approx(0.9)


def test_one_law_averages_to_itself():
    region = regions_of(100, [WEIBULL])[0]
    average, own = average_laws([region]), region.quantile(0.1)
    assert average.quantile(0.1) == pytest.approx(region.fit.quantile(0.1))
    limits = average.interval(0.1)
    assert (limits.low, limits.high) == pytest.approx((own.low, own.high), rel=1e-6)


def test_averaged_limits_hold_the_estimate_and_lie_within_the_widest():
    regions = regions_of(60)
    average = average_laws(regions)
    limits, own = average.interval(0.5), [r.quantile(0.5) for r in regions]
    assert limits.low < average.quantile(0.5) < limits.high
    assert min(i.low for i in own) <= limits.low
    assert limits.high <= max(i.high for i in own)


def test_no_law_is_an_error():
    with pytest.raises(AnalysisError, match="no fitted law"):
        average_laws([])
