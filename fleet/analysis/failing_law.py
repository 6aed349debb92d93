"""Which units truly fail more than their kind? A mixture of gamma laws over units, and each unit's place in it.

A unit's calls are Poisson with mean z × what is usual for its kind; z differs between units by a gamma law, or by two
(most units, and a few that keep failing). One gamma law under-forecasts a fleet with a few truly bad units; two on a
fleet of like units see ghosts. So both are fitted, the two under weak priors, and weighed by their likelihoods; only a
likelihood ratio over 6 (twice the log) is said aloud as a group of bad units. That the weighing neither under-forecasts
nor sees ghosts beyond its targets is measured in tests/studies/units_study.py. Source of the counts' law: the negative
binomial as a gamma-Poisson mixture, M. Greenwood and G. U. Yule, J. R. Stat. Soc. 83 (1920), from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy import optimize, special

from fleet.analysis.gamma_mixtures import by_cell
from fleet.analysis.poisson import FloatArray
from fleet.analysis.shrinkage import ShrunkRates, negative_binomial_log_likelihood, shrink_rates

DOUBT = 1.3
"""Log-likelihood two laws must gain to weigh as much as one: less sees ghosts where units differ by degrees, more
forecasts too little where a few are truly bad (both measured in tests/studies/units_study.py)."""

CLEAR_GAIN = 3.0
"""Gain in log-likelihood of two laws over one at which a group of bad units is said to be there."""

Mixture = tuple[FloatArray, FloatArray, FloatArray]
"""Weights, shapes and rates of gammas, each of shape (units, laws)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPosterior:
    """Each unit's z as a mixture of gammas: rows are units, columns laws.

    Attributes
    ----------
    weights, shapes, rates : ndarray of shape (units, laws)
        Posterior weights, gamma shapes and rates.
    two_laws : float
        Weight of the mixture of two laws against one, 0 to 1.
    pooled : bool
        Whether there were units enough to say how units differ.
    quantile_of : callable, optional
        Gives each unit's quantile of z without its neighbours' (see `quantile`); worked out from the arrays without it.
    """

    weights: FloatArray
    shapes: FloatArray
    rates: FloatArray
    two_laws: float
    pooled: bool
    quantile_of: Callable[[float], FloatArray] | None = field(default=None, repr=False)

    @property
    def clearly_two(self) -> bool:
        """Whether the log speaks for a group of bad units: a likelihood ratio over 6 (twice the log)."""
        return self.two_laws > float(special.expit(CLEAR_GAIN - DOUBT))

    def mean(self) -> FloatArray:
        """Return each unit's expected z."""
        return np.asarray((self.weights * self.shapes / self.rates).sum(axis=1))

    def chance_above(self, times: float) -> FloatArray:
        """Return each unit's chance that z is over ``times``."""
        return np.asarray((self.weights * special.gammaincc(self.shapes, times * self.rates)).sum(axis=1))

    def mean_above(self, times: float) -> FloatArray:
        """Return each unit's expected z beyond ``times``, nothing where it lies below: E[max(z - times, 0)]."""
        reach = times * self.rates
        beyond = self.shapes / self.rates * special.gammaincc(self.shapes + 1.0, reach)
        part = beyond - times * special.gammaincc(self.shapes, reach)
        return np.asarray((self.weights * part).sum(axis=1))

    def quantile(self, p: float) -> FloatArray:
        """Return the value each unit's z lies below with chance ``p``."""
        if self.quantile_of is not None:
            return self.quantile_of(p)
        return _quantile((self.weights, self.shapes, self.rates), p)

    def count_limits(self, usual: FloatArray, level: float) -> tuple[FloatArray, FloatArray]:
        """Return the limits of each unit's count to come, when ``usual`` calls are usual for its kind.

        The smallest counts whose cumulative chance reaches (1 - level)/2 and (1 + level)/2.
        """
        mean = self.mean() * usual
        top = int(np.ceil(mean.max() + 12.0 * np.sqrt(mean.max() + mean.max() ** 2) + 12.0))
        cumulative = np.zeros(usual.shape)
        low, high = np.full(usual.shape, -1.0), np.full(usual.shape, -1.0)
        share = self.rates / (self.rates + usual[:, None])
        for count in range(top + 1):
            cumulative = (self.weights * special.betainc(self.shapes, count + 1.0, share)).sum(axis=1)
            low[(low < 0) & (cumulative >= (1.0 - level) / 2.0)] = count
            high[(high < 0) & (cumulative >= (1.0 + level) / 2.0)] = count
        high[high < 0] = top
        return low, high


def place_units(calls: FloatArray, usual: FloatArray) -> UnitPosterior:
    """Say where each unit stands between the ordinary and those that keep failing.

    Parameters
    ----------
    calls, usual : ndarray of shape (units,)
        Calls seen, and those usual for the unit's kind in the same time (above zero).

    Returns
    -------
    UnitPosterior
        With under three units nothing can be pooled: each stands alone, ``pooled`` is False.
    """
    one = shrink_rates(calls, usual)
    two, laws = 0.0, None
    if one.pooled and calls.sum() > 0:
        laws, gain = _fit_two(calls, usual, one)
        two = float(special.expit(gain - DOUBT))

    def mixture(n: FloatArray, e: FloatArray) -> Mixture:
        weights = np.broadcast_to(one.weights, (n.size, one.weights.size))
        shapes, rates = one.shapes[None, :] + n[:, None], one.rates[None, :] + e[:, None]
        if laws is None:
            return weights, shapes, rates
        share, shape, mean = laws
        split = special.softmax(np.log(share)[None, :] + _log_chance(n, e, shape, shape / mean), axis=1)
        return (
            np.hstack([(1.0 - two) * weights, two * split]),
            np.hstack([shapes, shape[None, :] + n[:, None]]),
            np.hstack([rates, (shape / mean)[None, :] + e[:, None]]),
        )

    weights, shapes, rates = mixture(calls, usual)
    return UnitPosterior(
        weights=weights,
        shapes=shapes,
        rates=rates,
        two_laws=two,
        pooled=one.pooled,
        # units alike in calls and usual calls share their quantile; very many are splined between
        quantile_of=lambda p: np.exp(by_cell(calls, usual, lambda n, e: np.log(_quantile(mixture(n, e), p)))),
    )


def _quantile(mixture: Mixture, p: float) -> FloatArray:
    """Halve a bracket of log z until each row's mixture has mass ``p`` below it."""
    weights, shapes, rates = mixture
    low, high = np.full(weights.shape[0], -30.0), np.full(weights.shape[0], 10.0)
    for _ in range(50):
        middle = 0.5 * (low + high)
        below = (weights * special.gammainc(shapes, np.exp(middle)[:, None] * rates)).sum(axis=1) < p
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray(np.exp(0.5 * (low + high)))


def _fit_two(
    calls: FloatArray, usual: FloatArray, one: ShrunkRates
) -> tuple[tuple[FloatArray, FloatArray, FloatArray], float]:
    """Fit two gamma laws under weak priors; return them and what they gain in log-likelihood over the best one law."""

    def laws(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        share = special.expit(x[0])
        return np.array([1.0 - share, share]), np.exp(x[1:3]), np.exp([x[3], x[3] + x[4]])

    def log_likelihood(x: FloatArray) -> float:
        share, shape, mean = laws(x)
        chance = _log_chance(calls, usual, shape, shape / mean) + np.log(share)[None, :]
        return float(special.logsumexp(chance, axis=1).sum())

    # a few in a hundred, some three times the usual, the ordinary alike within a quarter
    centre, spread = np.array([-3.0, 3.0, 2.3, 0.0, 1.2]), np.array([1.0, 1.0, 0.8, 0.5, 0.4])

    def loss(x: FloatArray) -> float:
        return 0.5 * float((((x - centre) / spread) ** 2).sum()) - log_likelihood(x)

    best = optimize.minimize(loss, centre, method="L-BFGS-B")
    alone = max(
        _one_law(calls, usual, float(shape), float(mean)) for shape, mean in zip(one.shapes, one.means, strict=True)
    )
    return laws(best.x), log_likelihood(best.x) - alone


def _one_law(calls: FloatArray, usual: FloatArray, shape: float, mean: float) -> float:
    constant = special.xlogy(calls, usual) - special.gammaln(calls + 1.0)
    return negative_binomial_log_likelihood(calls, usual, mean=mean, shape=shape) - float(constant.sum())


def _log_chance(calls: FloatArray, usual: FloatArray, shape: FloatArray, rate: FloatArray) -> FloatArray:
    """Return the log chance of each unit's calls under each gamma law, without what all laws share."""
    n, e = calls[:, None], usual[:, None]
    return np.asarray(
        special.gammaln(n + shape) - special.gammaln(shape) + shape * np.log(rate) - (n + shape) * np.log(e + rate)
    )
