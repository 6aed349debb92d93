"""Hardly any failure: bounds with the shape assumed; and the weak priors, said aloud."""

import math

import numpy as np
import pytest
from scipy import stats

from fleet.analysis.life_few import assume_shape, shape_band
from fleet.analysis.life_laws import LAWS, LOGNORMAL, WEIBULL
from fleet.analysis.life_priors import assumed_band, describe_prior, life_prior, median_years
from fleet.analysis.life_sample import life_sample
from fleet.analysis.renewal_age import UnknownLives
from fleet.errors import AnalysisError
from fleet.trade.components import COMPONENT_BY_NAME

INF = math.inf


def test_the_scale_and_its_bounds_by_hand():
    sample = life_sample([0, 1, 0], [3, 4, 5], [3, INF, INF])
    total = 3**2 + (4**2 - 1**2) + 5**2
    found = assume_shape(sample, 2.0, 0.9)
    assert found.scale == pytest.approx(math.sqrt(total))
    assert found.low == pytest.approx(math.sqrt(2 * total / stats.chi2.ppf(0.95, 4)))
    assert found.high == pytest.approx(math.sqrt(2 * total / stats.chi2.ppf(0.05, 2)))


def test_a_failure_between_looks_counts_at_its_middle():
    between = assume_shape(life_sample(0, [2, 9], [4, INF]), 2.0)
    exact = assume_shape(life_sample(0, [3, 9], [3, INF]), 2.0)
    assert between.scale == pytest.approx(exact.scale)


def test_bounds_hold_as_often_as_they_say():
    rng = np.random.default_rng(1)
    held = 0
    for _ in range(1000):
        life = 9 * rng.weibull(2.2, 60)
        sample = life_sample(0, np.minimum(life, 2.0), np.where(life <= 2.0, life, INF))
        found = assume_shape(sample, 2.2, 0.9)
        held += found.low <= 9.0 <= found.high
    # about two failures each: limits of so small a count hold more often than asked
    assert 0.90 - 0.02 <= held / 1000 <= 0.99


def test_the_band_holds_every_shape():
    sample = life_sample(0, [3, 5, 5], [3, INF, INF])
    band = shape_band([assume_shape(sample, shape) for shape in (1.5, 2.2, 3.0)], 0.1)
    for shape in (1.5, 2.2, 3.0):
        own = assume_shape(sample, shape).quantile(0.1)
        assert band.low <= own.low
        assert own.high <= band.high
    assert band.method == "shape assumed between 1.5 and 3"


def test_a_band_takes_the_lowest_low_and_the_highest_high_by_hand():
    # 100 years^k in all at each shape, two failures: bounds by chi-square, then the age of the first tenth
    sample = life_sample(0, [1.0] * 100, [1.0, 1.0, *[INF] * 98])
    band = shape_band([assume_shape(sample, shape, 0.9) for shape in (1.5, 2.2, 3.0)], 0.1)
    tenth = -math.log(0.9)
    lows = [(2 * 100 / stats.chi2.ppf(0.95, 6) * tenth) ** (1 / k) for k in (1.5, 2.2, 3.0)]
    highs = [(2 * 100 / stats.chi2.ppf(0.05, 4) * tenth) ** (1 / k) for k in (1.5, 2.2, 3.0)]
    assert (band.low, band.high) == pytest.approx((min(lows), max(highs)))


def unseen(at_most, low, high, quiet=0.0):
    at_most, low, high, quiet = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(v, float)) for v in (at_most, low, high, quiet))
    )
    return UnknownLives(at_most=at_most, quiet=quiet, low=low, high=high)


def test_lives_of_unknown_birth_count_at_the_ages_that_bound_by_hand():
    none = life_sample([], [], [])
    found = assume_shape(none, 2.0, 0.9, unknown=unseen([4.0, 6.0], [3.0, 2.0], [3.0, INF], quiet=[0.0, 1.0]))
    least, most = 3**2 + (3**2 - 1), (7**2 - 4**2) + (8**2 - 6**2)
    assert found.failures == 1
    assert found.low == pytest.approx(math.sqrt(2 * least / stats.chi2.ppf(0.95, 4)))
    assert found.high == pytest.approx(math.sqrt(2 * most / stats.chi2.ppf(0.05, 2)))
    # where parts die young a young part bears more: the bounds change ends
    young = assume_shape(none, 0.5, 0.9, unknown=unseen(4.0, 3.0, 3.0))
    assert young.low == pytest.approx((2 * (math.sqrt(7) - 2) / stats.chi2.ppf(0.95, 4)) ** 2)
    assert young.high == pytest.approx((2 * math.sqrt(3) / stats.chi2.ppf(0.05, 2)) ** 2)


def test_a_unit_of_unknown_age_is_as_old_as_any_or_bounds_one_side_alone():
    none, nameless = life_sample([], [], []), unseen(math.nan, 2.0, [2.0])
    told = assume_shape(none, 2.0, 0.9, unknown=nameless, oldest=5.0)
    assert told == assume_shape(none, 2.0, 0.9, unknown=unseen(5.0, 2.0, 2.0))
    assert math.isinf(assume_shape(none, 2.0, 0.9, unknown=nameless).high)


@pytest.mark.parametrize("failures", [0, 1, 2, 3, 4])
def test_bounds_hold_whatever_the_unseen_ages(failures):
    # true ages drawn between nought and the unit's: the bounds from the unit ages alone must hold those of the truth
    rng = np.random.default_rng(failures)
    at_most, low = rng.uniform(1, 12, 50), rng.uniform(0.5, 2, 50)
    high = np.where(np.arange(50) < failures, low, INF)
    age = rng.uniform(0, at_most)
    for shape in (0.7, 1.0, 1.5, 2.2, 3.0):
        truth = assume_shape(life_sample(age, age + low, age + high), shape)
        found = assume_shape(life_sample([], [], []), shape, unknown=unseen(at_most, low, high))
        assert found.low <= truth.low * (1 + 1e-12)
        assert found.high >= truth.high * (1 - 1e-12)
        assert found.failures == truth.failures == failures


def test_no_failure_bounds_from_below_only():
    found = assume_shape(life_sample(0, [3, 5], INF), 2.0)
    assert math.isnan(found.scale)
    assert (found.low > 0, found.high) == (True, INF)


def test_nothing_watched_is_an_error():
    with pytest.raises(AnalysisError, match="watched for no time at all"):
        assume_shape(life_sample(0, [1], [INF]).__class__(entry=np.empty(0), low=np.empty(0), high=np.empty(0)), 2.0)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
@pytest.mark.parametrize("component", ["run capacitor", "control board"])
def test_priors_of_all_laws_say_the_same_of_life(law, component):
    prior, weibull = life_prior(component, law), life_prior(component, WEIBULL)
    theta = np.array([prior.log_scale, prior.log_shape])
    assert law.quantile(theta, 0.5) == pytest.approx(median_years(component))
    spread = law.log_sd / math.exp(prior.log_shape)
    assert spread == pytest.approx(WEIBULL.log_sd / math.exp(weibull.log_shape))


def test_wear_and_accident_have_their_own_shapes():
    assert math.exp(life_prior("contactor", WEIBULL).log_shape) == pytest.approx(2.0)
    assert math.exp(life_prior("control board", WEIBULL).log_shape) == pytest.approx(1.0)
    assert assumed_band("contactor") == (1.5, 2.2, 3.0)
    assert assumed_band("thermostat")[1] == 1.0


def test_a_prior_is_described_in_words():
    assert describe_prior("fan motor") == ("Weibull shape about 2 (1.0 to 4.0), median life about 18 years (5.4 to 60)")


def test_a_prior_falls_by_two_in_the_log_at_two_deviations():
    prior = life_prior("contactor", LOGNORMAL)
    middle = np.array([prior.log_scale, prior.log_shape])
    assert prior.value(middle) - prior.value(middle + np.array([0, 2 * prior.log_shape_sd])) == pytest.approx(2.0)
    slope, hessian = prior.derivatives(middle + np.array([0.3, 0.0]))
    assert slope == pytest.approx([-0.3 / 0.36, 0.0])
    assert hessian == pytest.approx(np.diag([-1 / 0.36, -1 / 0.35**2]))


def test_every_component_with_a_part_has_a_prior():
    for name, component in COMPONENT_BY_NAME.items():
        if component.is_part and component.counts_as_failure:
            assert 1.0 <= median_years(name) <= 30.0
