"""The three laws of lives against scipy's, and their derivatives against differences."""

import math

import numpy as np
import pytest
from scipy import stats

from fleet.analysis.life_laws import LAWS, LOG_LOGISTIC, LOGNORMAL, WEIBULL

THETA = np.array([math.log(9.0), math.log(2.2)])
AGES = np.array([0.01, 0.5, 3.0, 9.0, 25.0])
SCIPY = {
    WEIBULL: stats.weibull_min(2.2, scale=9.0),
    LOGNORMAL: stats.lognorm(1 / 2.2, scale=9.0),
    LOG_LOGISTIC: stats.fisk(2.2, scale=9.0),
}
each_law = pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)


@each_law
def test_survival_and_hazard_are_scipys(law):
    made = SCIPY[law]
    assert law.survival(THETA, AGES) == pytest.approx(made.sf(AGES), rel=1e-12)
    assert law.hazard(THETA, AGES) == pytest.approx(made.pdf(AGES) / made.sf(AGES), rel=1e-9)


@each_law
@pytest.mark.parametrize("share", [0.01, 0.1, 0.5, 0.9])
def test_quantiles_are_scipys(law, share):
    assert law.quantile(THETA, share) == pytest.approx(SCIPY[law].ppf(share), rel=1e-12)


@each_law
def test_rate_is_the_slope_of_the_cumulative_hazard_and_its_slope_the_next(law):
    z, step = np.array([-8.0, -2.0, 0.3, 2.0]), 1e-5
    slope = (law.cumulative(z + step) - law.cumulative(z - step)) / (2 * step)
    assert np.exp(law.log_rate(z)) == pytest.approx(slope, rel=1e-6)
    second = (law.log_rate(z + step) - law.log_rate(z - step)) / (2 * step)
    assert law.log_rate_slope(z) == pytest.approx(second, rel=1e-6)
    third = (law.log_rate_slope(z + step) - law.log_rate_slope(z - step)) / (2 * step)
    assert law.log_rate_bend(z) == pytest.approx(third, rel=1e-6, abs=1e-9)


@each_law
def test_log_sd_is_that_of_log_age(law):
    draws = SCIPY[law].ppf((np.arange(200_000) + 0.5) / 200_000)
    assert np.log(draws).std() * 2.2 == pytest.approx(law.log_sd, rel=1e-3)  # the last thousandths of the tails


@each_law
def test_age_nought_and_absurd_ages_do_no_harm(law):
    assert law.survival(THETA, [0.0, 1e9]) == pytest.approx([1.0, 0.0], abs=1e-15)
    assert np.isfinite(law.log_rate(np.array([-500.0, 500.0]))).all()
