"""Lives of unknown birth: the tabulated mixture against direct sums and against drawn lines of parts."""

import math

import numpy as np
import pytest

from fleet.analysis.life_fit import KnownLives, fit_law, starting_point
from fleet.analysis.life_laws import LAWS, WEIBULL
from fleet.analysis.life_sample import life_sample
from fleet.analysis.renewal_age import JoinedLikelihood, UnknownLives, _renewal_masses, renewal_mixture
from fleet.errors import AnalysisError

INF = math.inf
THETA = np.array([math.log(3.0), math.log(1.8)])


def lives(at_most, low, high, quiet=0.0):
    at_most, low, high, quiet = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(v, float)) for v in (at_most, low, high, quiet))
    )
    return UnknownLives(at_most=at_most, quiet=quiet, low=low, high=high)


def drawn_lines(n, age, *, seed=2, removal=0.1, shape=1.8, scale=3.0):
    """Return, for n units of one age, the true age of the part found in each and how long it went on."""
    rng = np.random.default_rng(seed)
    found, onward, at = np.zeros(n), np.zeros(n), np.full(n, -age)
    going = np.arange(n)
    while going.size:
        life = scale * rng.weibull(shape, going.size)
        ends = at[going] + np.minimum(life, rng.exponential(1 / removal, going.size))
        alive = ends > 0
        found[going[alive]] = -at[going[alive]]
        onward[going[alive]] = (at[going] + life)[alive]
        at[going] = ends
        going = going[~alive]
    return found, onward


def test_survival_of_found_parts_is_that_of_drawn_lines():
    _, onward = drawn_lines(200_000, 7.0)
    for watched in (0.5, 2.0, 4.0):
        mixture = renewal_mixture(lives(7.0, watched, INF), removal_rate=0.1)
        drawn = (onward > watched).mean()
        assert math.exp(mixture.value(WEIBULL, THETA)) == pytest.approx(drawn, abs=0.005)


def test_a_failure_is_as_dense_as_survival_falls():
    step = 1 / 6
    exact = renewal_mixture(lives(5.0, 2.0, 2.0))
    around = [renewal_mixture(lives(5.0, 2.0 + way * step, INF)) for way in (-1, 1)]
    fall = math.exp(around[0].value(WEIBULL, THETA)) - math.exp(around[1].value(WEIBULL, THETA))
    assert math.exp(exact.value(WEIBULL, THETA)) == pytest.approx(fall / (2 * step), rel=1e-3)  # lattice error


def test_between_two_looks_is_the_difference_of_survivals():
    between = renewal_mixture(lives(5.0, 1.0, 3.0))
    ends = [math.exp(renewal_mixture(lives(5.0, x, INF)).value(WEIBULL, THETA)) for x in (1.0, 3.0)]
    assert math.exp(between.value(WEIBULL, THETA)) == pytest.approx(ends[0] - ends[1], rel=1e-9)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_a_part_known_not_to_have_been_changed_is_of_known_age(law):
    # quiet as long as the unit is old: the life began with the unit, so it is an ordinary late entry
    mixture = renewal_mixture(lives([4.0, 4.0], [2.0, 1.0], [INF, 3.0], quiet=4.0))
    known = KnownLives.of(life_sample(4.0, [6.0, 5.0], [INF, 7.0]))
    assert mixture.value(law, THETA) == pytest.approx(known.value(law, THETA), rel=1e-9)


def test_a_new_unit_holds_a_new_part():
    mixture = renewal_mixture(lives(0.0, 2.0, INF))
    assert mixture.value(WEIBULL, THETA) == pytest.approx(-float(WEIBULL.cumulative(WEIBULL.standard(THETA, 2.0))))


def test_in_an_old_unit_the_age_is_that_of_the_equilibrium():
    # an old unit's part has the equilibrium law: density S(u) / mean, so P(on for x) = int_x S / mean
    ages = np.linspace(0, 40, 400_001)
    alive = WEIBULL.survival(THETA, ages)
    beyond = alive[ages >= 2.0].sum() / alive.sum()
    found = math.exp(renewal_mixture(lives(30.0, 2.0, INF)).value(WEIBULL, THETA))
    assert found == pytest.approx(beyond, abs=0.003)  # lattice of a quarter year


def test_where_failures_take_the_unit_the_part_is_the_first():
    mixture = renewal_mixture(lives(4.0, 2.0, INF), unit_goes=1.0)
    known = KnownLives.of(life_sample(4.0, 6.0, INF))
    assert mixture.value(WEIBULL, THETA) == pytest.approx(known.value(WEIBULL, THETA), rel=1e-9)


def test_units_of_unknown_age_are_mixed_over_those_of_others():
    ages = [2.0, 6.0, 6.0, 9.0]
    each = [math.exp(renewal_mixture(lives(a, 1.5, INF)).value(WEIBULL, THETA)) for a in ages]
    mixed = renewal_mixture(lives(math.nan, 1.5, INF), unit_ages=ages)
    assert math.exp(mixed.value(WEIBULL, THETA)) == pytest.approx(np.mean(each), rel=1e-9)


def test_cells_are_counted_not_repeated():
    once = renewal_mixture(lives([5.0, 5.0, 3.0], [1.0, 1.0, 2.0], [1.0, 1.0, INF]))
    twice = renewal_mixture(lives([5.0, 3.0], [1.0, 2.0], [1.0, INF]), weights=np.array([2.0, 1.0]))
    assert once.value(WEIBULL, THETA) == pytest.approx(twice.value(WEIBULL, THETA), rel=1e-12)


def test_derivatives_are_those_of_the_value():
    mixture = renewal_mixture(lives([5.0, 3.0, 8.0], [1.0, 2.0, 3.0], [1.0, INF, 4.0]), removal_rate=0.05)
    value, slope, hessian = mixture.expand(WEIBULL, THETA)
    assert value == pytest.approx(mixture.value(WEIBULL, THETA), rel=1e-12)
    for place, step in enumerate(np.eye(2) * 1e-4):
        ahead, behind = (mixture.value(WEIBULL, THETA + way * step) for way in (1, -1))
        assert slope[place] == pytest.approx((ahead - behind) / 2e-4, abs=1e-4)
    assert hessian == pytest.approx(hessian.T)


def test_joined_likelihoods_add_up():
    known = KnownLives.of(life_sample(0.0, [1.0, 2.0], [1.0, INF]))
    mixture = renewal_mixture(lives(5.0, 1.0, 1.0))
    joined = JoinedLikelihood(parts=(known, mixture))
    assert joined.value(WEIBULL, THETA) == known.value(WEIBULL, THETA) + mixture.value(WEIBULL, THETA)
    for whole, one, other in zip(*(p.expand(WEIBULL, THETA) for p in (joined, known, mixture)), strict=True):
        assert whole == pytest.approx(one + other)


def test_a_mixture_alone_finds_the_truth():
    rng = np.random.default_rng(4)
    unit_ages = rng.integers(1, 11, 4000).astype(float)
    onward = np.concatenate([drawn_lines(400, a, seed=int(a))[1] for a in np.arange(1.0, 11.0)])
    ages = np.repeat(np.arange(1.0, 11.0), 400)
    seen = lives(ages, np.minimum(onward, 3.0), np.where(onward <= 3.0, onward, INF))
    fit = fit_law(WEIBULL, renewal_mixture(seen, removal_rate=0.1), starting_point(WEIBULL, 2000, 6000))
    assert unit_ages.size == onward.size
    assert fit.trouble == ""
    assert fit.shape == pytest.approx(1.8, abs=0.12)  # chance in 4000 lives
    assert fit.scale == pytest.approx(3.0, abs=0.1)


@pytest.mark.parametrize("size", [1, 2, 3, 24, 61, 62])
def test_the_renewal_masses_solve_their_equation(size):
    # the sums written out, for masses that fall early, late, and nearly all at once
    rng = np.random.default_rng(size)
    mass = rng.random((3, size)) * np.exp(-np.array([[0.05], [0.5], [5.0]]) * np.arange(size))
    mass[:, 0] = 0.0
    mass *= 0.999 / np.maximum(mass.sum(axis=1, keepdims=True), 0.999)
    births = np.zeros((3, size))
    births[:, 0] = 1.0
    for time in range(1, size):
        births[:, time] = sum(mass[:, s] * births[:, time - s] for s in range(1, time + 1))
    assert _renewal_masses(mass) == pytest.approx(births, rel=1e-9, abs=1e-12)


def test_units_of_unknown_age_need_others_to_go_by():
    with pytest.raises(AnalysisError, match="1 of them in units of unknown age, and 0 unit ages"):
        renewal_mixture(lives([math.nan, 3.0], 1.0, INF))
