"""What must hold of lives for any numbers (hypothesis, the same cases every run)."""

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.analysis.life_few import assume_shape
from fleet.analysis.life_fit import KnownLives, Prior, fit_law, likelihood_region
from fleet.analysis.life_laws import LAWS, WEIBULL
from fleet.analysis.life_sample import life_sample, life_terms, log_likelihood
from fleet.analysis.product_limit import cumulative_incidence, product_limit

SAME = settings(derandomize=True, deadline=None, max_examples=60)
PRIOR = Prior(log_scale=math.log(10), log_scale_sd=0.6, log_shape=math.log(2), log_shape_sd=0.35)

ages = st.floats(0.01, 40.0, allow_nan=False)
thetas = st.tuples(st.floats(-1.0, 4.0), st.floats(-1.0, 2.0)).map(np.array)


@st.composite
def samples(draw, least=3):
    """Return lives of every kind."""
    lives = draw(st.lists(st.tuples(ages, ages, ages, st.sampled_from("xrib")), min_size=least, max_size=25))
    entry, low, high = [], [], []
    for a, b, c, kind in lives:
        first, middle, last = sorted((a, b, c))
        middle, last = max(middle, first + 0.01), max(last, first + 0.02)
        last = max(last, middle + 0.01)
        entry.append(first if draw(st.booleans()) else 0.0)
        low.append(middle if kind != "b" else entry[-1])
        high.append({"x": middle, "r": math.inf, "i": last, "b": last}[kind])
    return life_sample(entry, low, high)


@st.composite
def followed(draw):
    """Return entry and leaving ages and whether each life failed."""
    lives = draw(st.lists(st.tuples(ages, ages, st.booleans()), min_size=1, max_size=40))
    entry = np.array([min(a, b) for a, b, _ in lives])
    leave = np.array([max(a, b) + 0.01 for a, b, _ in lives])
    return entry, leave, np.array([d for _, _, d in lives])


@SAME
@given(thetas, st.lists(ages, min_size=2, max_size=10))
def test_survival_never_rises_and_stays_a_share(theta, at):
    for law in LAWS:
        share = law.survival(theta, np.sort(at))
        assert ((share >= 0) & (share <= 1)).all()
        assert (np.diff(share) <= 0).all()


@SAME
@given(thetas, st.floats(0.001, 0.999))
def test_quantiles_undo_survival(theta, share):
    for law in LAWS:
        assert math.isclose(1.0 - float(law.survival(theta, law.quantile(theta, share))), share, rel_tol=1e-7)


@SAME
@given(samples(), thetas)
def test_the_order_of_lives_is_of_no_account(sample, theta):
    turned = life_sample(sample.entry[::-1], sample.low[::-1], sample.high[::-1])
    for law in LAWS:
        one, other = (log_likelihood(law, theta, life_terms(s))[0] for s in (sample, turned))
        assert math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-9)


@SAME
@given(samples(), thetas, st.floats(0.1, 20.0))
def test_another_unit_of_time_moves_the_likelihood_by_a_constant(sample, theta, factor):
    scaled = life_sample(sample.entry * factor, sample.low * factor, sample.high * factor)
    moved = theta + np.array([math.log(factor), 0.0])
    exact = int((sample.low == sample.high).sum())
    for law in LAWS:
        one = log_likelihood(law, theta, life_terms(sample))[0]
        other = log_likelihood(law, moved, life_terms(scaled))[0]
        assert math.isclose(one, other + exact * math.log(factor), rel_tol=1e-6, abs_tol=1e-6)


@SAME
@given(samples(), st.sampled_from(LAWS))
def test_a_fit_with_a_prior_always_settles_on_a_top(sample, law):
    known = KnownLives.of(sample)
    fit = fit_law(law, known, np.array([PRIOR.log_scale, PRIOR.log_shape]), prior=PRIOR)
    assert fit.trouble == ""

    def height(theta):
        return known.value(law, theta) + PRIOR.value(theta)

    top = height(fit.theta)
    for step in ([0.02, 0], [-0.02, 0], [0, 0.02], [0, -0.02], [0.02, 0.02], [-0.02, 0.02]):
        assert height(fit.theta + np.array(step)) <= top + 1e-9


@settings(SAME, max_examples=25)
@given(samples(least=5))
def test_an_interval_holds_its_estimate(sample):
    known = KnownLives.of(sample)
    fit = fit_law(WEIBULL, known, np.array([PRIOR.log_scale, PRIOR.log_shape]), prior=PRIOR)
    region = likelihood_region(fit, known, 0.9)
    assert region.closed
    for share in (0.1, 0.5):
        limits = region.quantile(share)
        assert limits.low < fit.quantile(share) < limits.high


@SAME
@given(followed())
def test_the_curve_never_rises_and_stays_within_its_limits(lives):
    curve = product_limit(*lives, fewest=1)
    assert curve is not None
    assert ((curve.survival >= 0) & (curve.survival <= 1)).all()
    assert (np.diff(np.append(1.0, curve.survival)) <= 0).all()
    shown = ~np.isnan(curve.low)
    assert (curve.low[shown] <= curve.survival[shown] + 1e-12).all()
    assert (curve.high[shown] >= curve.survival[shown] - 1e-12).all()
    assert (curve.failures <= curve.at_risk).all()


@SAME
@given(followed(), st.integers(0, 10_000))
def test_shares_of_causes_and_of_the_rest_add_up_to_one(lives, seed):
    entry, leave, failed = lives
    cause = np.where(failed, np.random.default_rng(seed).integers(0, 3, failed.size), -1)
    found = cumulative_incidence(entry, leave, cause, ("a", "b", "c"), fewest=1)
    curve = product_limit(entry, leave, failed, fewest=1)
    assert np.allclose(found.share.sum(axis=0), 1.0 - curve.survival)
    assert (np.diff(found.share, axis=1) >= -1e-12).all()
    assert (found.sd >= 0).all()


@SAME
@given(samples(), st.floats(0.5, 4.0))
def test_more_certainty_is_a_wider_bound(sample, shape):
    narrow, wide = (assume_shape(sample, shape, level) for level in (0.5, 0.95))
    assert wide.low < narrow.low
    assert wide.high >= narrow.high
    if sample.failures:
        assert narrow.low < narrow.scale
