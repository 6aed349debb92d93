"""The likelihood of lives seen with entry ages and every kind of censoring."""

import math

import numpy as np
import pytest
from scipy import stats

from fleet.analysis.life_laws import LAWS, WEIBULL
from fleet.analysis.life_sample import (
    expand_log_likelihood,
    life_sample,
    life_terms,
    log_likelihood,
    log_likelihoods,
)
from fleet.errors import AnalysisError

INF = math.inf
THETA = np.array([math.log(8.0), math.log(1.7)])
# exact, exact after late entry, running, running after late entry, between looks, before the first look
ENTRY = [0.0, 2.0, 0.0, 3.0, 1.0, 0.0]
LOW = [4.0, 5.0, 6.0, 9.0, 2.0, 0.0]
HIGH = [4.0, 5.0, INF, INF, 3.5, 1.5]


def test_every_ending_adds_what_it_should():
    law = stats.weibull_min(1.7, scale=8.0)
    by_hand = (
        law.logpdf(4.0)
        + law.logpdf(5.0) - law.logsf(2.0)
        + law.logsf(6.0)
        + law.logsf(9.0) - law.logsf(3.0)
        + math.log(law.sf(2.0) - law.sf(3.5)) - law.logsf(1.0)
        + math.log(law.cdf(1.5))
    )  # fmt: skip
    value, _ = log_likelihood(WEIBULL, THETA, life_terms(life_sample(ENTRY, LOW, HIGH)))
    assert value == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_the_gradient_is_the_slope(law):
    terms = life_terms(life_sample(ENTRY, LOW, HIGH))
    _, gradient = log_likelihood(law, THETA, terms)
    for place, step in enumerate(np.eye(2) * 1e-5):
        ahead, behind = (log_likelihood(law, THETA + way * step, terms)[0] for way in (1, -1))
        assert gradient[place] == pytest.approx((ahead - behind) / 2e-5, rel=1e-7, abs=1e-8)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_the_hessian_is_the_slope_of_the_gradient(law):
    terms = life_terms(life_sample(ENTRY, LOW, HIGH))
    value, gradient, hessian = expand_log_likelihood(law, THETA, terms)
    assert value == pytest.approx(float(log_likelihoods(law, THETA[None, :], terms)[0]), rel=1e-12)
    assert gradient == pytest.approx(log_likelihood(law, THETA, terms)[1])
    for place, step in enumerate(np.eye(2) * 1e-5):
        ahead, behind = (log_likelihood(law, THETA + way * step, terms)[1] for way in (1, -1))
        assert hessian[place] == pytest.approx((ahead - behind) / 2e-5, rel=1e-7, abs=1e-8)


def test_weights_count_lives():
    once = life_sample(ENTRY, LOW, HIGH)
    again = life_sample(ENTRY + ENTRY[:2], LOW + LOW[:2], HIGH + HIGH[:2])
    weighted = life_terms(once, np.array([2.0, 2.0, 1.0, 1.0, 1.0, 1.0]))
    assert log_likelihood(WEIBULL, THETA, weighted)[0] == pytest.approx(
        log_likelihood(WEIBULL, THETA, life_terms(again))[0], rel=1e-12
    )


def test_lives_of_one_age_become_one_term():
    terms = life_terms(life_sample(0.0, [3.0] * 50 + [4.0] * 50, [3.0] * 50 + [INF] * 50))
    assert (terms.event_age.tolist(), terms.event_weight.tolist()) == ([3.0], [50.0])
    assert (terms.survived_age.tolist(), terms.survived_weight.tolist()) == ([4.0], [50.0])


def test_counts_and_years():
    sample = life_sample(ENTRY, LOW, HIGH)
    assert (len(sample), sample.failures, sample.years) == (6, 4, 4 + 3 + 6 + 6 + 1 + 0)


def test_a_life_that_was_never_watched_says_nothing():
    assert len(life_sample([2.0, 0.0], [2.0, 1.0], [INF, 1.0])) == 1


@pytest.mark.parametrize(
    ("entry", "low", "high"),
    [(-1.0, 2.0, 2.0), (3.0, 2.0, INF), (0.0, 2.0, 1.0), (2.0, 2.0, 2.0), (0.0, INF, INF), (math.nan, 1.0, 1.0)],
)
def test_impossible_lives_are_refused(entry, low, high):
    with pytest.raises(AnalysisError, match="1 of 2 lives can't be used"):
        life_sample([0.0, entry], [1.0, low], [1.0, high])
