"""Large samples are summed over cells of age: the answers must stay what the lives one by one give."""

import math

import numpy as np
import pytest

from fleet.analysis import life_sample as module
from fleet.analysis.life_fit import KnownLives, fit_law, likelihood_region, starting_point
from fleet.analysis.life_laws import LAWS
from fleet.analysis.life_sample import life_sample, life_terms

INF = math.inf


def drawn(count, *, seed=6):
    """Return lives in whole days: late entries, failures exact and between looks, some watched to an end."""
    rng = np.random.default_rng(seed)
    entry, life = np.maximum(rng.uniform(-4.0, 8.0, 3 * count), 0.0), 9.0 * rng.weibull(2.2, 3 * count)
    seen = np.flatnonzero(life > entry + 0.01)[:count]
    entry, life = np.floor(entry[seen] * 365.25) / 365.25, np.ceil(life[seen] * 365.25) / 365.25
    end = np.ceil((entry + rng.uniform(1.0, 6.0, count)) * 365.25) / 365.25
    failed, looked = life <= end, rng.random(count) < 0.2
    low = np.where(failed & looked, np.maximum(life - 1.0, entry), np.minimum(life, end))
    return life_sample(entry, low, np.where(failed, life, INF))


def test_cells_and_lives_one_by_one_give_the_same_answers(monkeypatch):
    sample = drawn(50_000)
    cells = KnownLives.of(sample)
    monkeypatch.setattr(module, "MOST_LIVES_ONE_BY_ONE", len(sample))
    plain = KnownLives.of(sample)
    assert cells.terms.event_age.size + cells.terms.survived_age.size < 1_800
    assert plain.terms.event_age.size + plain.terms.survived_age.size > 3_000
    for law in LAWS:
        told = []
        for known in (cells, plain):
            fit = fit_law(law, known, starting_point(law, sample.failures, sample.years))
            assert fit.trouble == ""
            limits = likelihood_region(fit, known, 0.9).quantile(0.1)
            told.append([fit.quantile(0.1), limits.low, limits.high, fit.quantile(0.5), fit.shape])
        # asked for is half a hundredth; reached is far better
        assert told[0] == pytest.approx(told[1], rel=2e-4)


def test_up_to_the_limit_every_age_stands_for_itself():
    sample = drawn(module.MOST_LIVES_ONE_BY_ONE)
    exact = sample.low[sample.low == sample.high]
    assert life_terms(sample).event_age.tolist() == np.unique(exact).tolist()


def test_no_life_and_no_age_is_lost_in_cells():
    sample = drawn(30_000)
    weights = np.random.default_rng(1).exponential(size=len(sample))
    for given, weigh in ((None, np.ones(len(sample))), (weights, weights)):
        terms = life_terms(sample, given)
        exact, censored, late = sample.low == sample.high, np.isinf(sample.high), sample.entry > 0
        assert terms.event_weight.sum() == pytest.approx(weigh[exact].sum())
        assert terms.event_weight @ terms.event_age == pytest.approx(weigh[exact] @ sample.low[exact])
        left = weigh[censored] @ sample.low[censored] - weigh[late] @ sample.entry[late]
        assert terms.survived_weight @ terms.survived_age == pytest.approx(left)
        assert terms.interval_weight.sum() == pytest.approx(weigh[~exact & ~censored].sum())


def test_a_weight_of_nought_leaves_lives_out():
    sample = drawn(25_000)
    weights = np.where(sample.low < 2.0, 0.0, 1.0)
    terms = life_terms(sample, weights)
    assert np.isfinite(terms.event_age).all()
    assert terms.event_age.min() >= 2.0
