"""Which units truly fail more than their kind? A mixture of gamma laws over units, and each unit's place in it.

A unit's calls are Poisson with mean z × what is usual for its kind; z differs between units by a gamma law, or by two
(most units, and a few that keep failing). One gamma law under-forecasts a fleet with a few truly bad units; two on a
fleet of like units see ghosts. So both are fitted and weighed by the Akaike weight of the second law's three extra
parameters (the same bar as a likelihood ratio of 6). Source of the counts' law: the negative binomial as a
gamma-Poisson mixture, M. Greenwood and G. U. Yule, J. R. Stat. Soc. 83 (1920), from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from fleet.analysis.poisson import FloatArray
from fleet.analysis.shrinkage import ShrunkRates, negative_binomial_log_likelihood, shrink_rates


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
    """

    weights: FloatArray
    shapes: FloatArray
    rates: FloatArray
    two_laws: float
    pooled: bool

    def mean(self) -> FloatArray:
        """Return each unit's expected z."""
        return np.asarray((self.weights * self.shapes / self.rates).sum(axis=1))

    def chance_above(self, times: float) -> FloatArray:
        """Return each unit's chance that z is over ``times``."""
        return np.asarray((self.weights * special.gammaincc(self.shapes, times * self.rates)).sum(axis=1))

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
    weights = np.broadcast_to(one.weights, (calls.size, one.weights.size))
    shapes, rates = one.shapes[None, :] + calls[:, None], one.rates[None, :] + usual[:, None]
    if not one.pooled or calls.sum() == 0:
        return UnitPosterior(weights=weights, shapes=shapes, rates=rates, two_laws=0.0, pooled=one.pooled)
    laws, gain = _fit_two(calls, usual, one)
    two = float(special.expit(gain - 3.0))
    share, shape, mean = laws
    log_weight = np.log(share)[None, :] + _log_chance(calls, usual, shape, shape / mean)
    split = special.softmax(log_weight, axis=1)
    return UnitPosterior(
        weights=np.hstack([(1.0 - two) * weights, two * split]),
        shapes=np.hstack([shapes, shape[None, :] + calls[:, None]]),
        rates=np.hstack([rates, (shape / mean)[None, :] + usual[:, None]]),
        two_laws=two,
        pooled=True,
    )


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

    # a few in a hundred, some three times the usual, the ordinary alike within a third to a half
    centre, spread = np.array([-3.0, 2.0, 2.3, 0.0, 1.2]), np.array([1.0, 1.0, 0.8, 0.5, 0.4])

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
