"""Which law, and does it matter? Laws weighed by Akaike's criterion, their average, and how far they lie apart.

Sources: K. P. Burnham and D. R. Anderson, Model Selection and Multimodel Inference (2nd ed. 2002), chapter 2, weights;
D. Turek and D. Fletcher, Comput. Stat. Data Anal. 56 (2012), intervals by averaging tail areas (both from memory). Here
each law's tail area is that of a normal law on the log of age whose two sides come from its likelihood-ratio limits.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from fleet.analysis.life_fit import LawFit, Region
from fleet.analysis.poisson import FloatArray, Interval
from fleet.errors import AnalysisError

_LONGEST = 1e4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AveragedLife:
    """Laws and their weights, which add up to one.

    Attributes
    ----------
    regions : tuple of Region
        A fitted law each, with the region its intervals come from.
    weights : ndarray
        Akaike weights.
    """

    regions: tuple[Region, ...]
    weights: FloatArray

    def survival(self, age: FloatArray) -> FloatArray:
        """Return the averaged share still working at each age."""
        every = [r.fit.law.survival(r.fit.theta, age) for r in self.regions]
        share: FloatArray = self.weights @ np.array(every)
        return share

    def quantile(self, share: float) -> float:
        """Return the age by which ``share`` has failed under the averaged curve."""
        return averaged_quantile([r.fit for r in self.regions], share, self._told())

    def _told(self) -> dict[str, float]:
        return {r.fit.law.name: float(w) for r, w in zip(self.regions, self.weights, strict=True)}

    def interval(self, share: float) -> Interval:
        """Bound that age, the choice of the law allowed for."""
        level = self.regions[0].level
        bounds = [r.quantile(share) for r in self.regions]
        best = [r.fit.law.log_quantile(r.fit.theta, share) for r in self.regions]
        z = float(special.ndtri(0.5 + 0.5 * level))
        below = np.array([(b - math.log(i.low)) / z for b, i in zip(best, bounds, strict=True)])
        above = np.array([(math.log(min(i.high, _LONGEST)) - b) / z for b, i in zip(best, bounds, strict=True)])
        center = np.array(best)

        def tail(log_age: float) -> float:
            side = np.where(log_age < center, below, above)
            return float(self.weights @ special.ndtr((log_age - center) / np.maximum(side, 1e-9)))

        logs = [math.log(i.low) for i in bounds] + [math.log(min(i.high, _LONGEST)) for i in bounds]
        edge = 0.5 * (1.0 - level)
        low = _solve(lambda v: tail(v) - edge, min(logs), max(logs))
        high = _solve(lambda v: tail(v) - (1.0 - edge), min(logs), max(logs))
        return Interval(low=math.exp(low), high=math.exp(high), level=level, method="averaged over laws")

    def spread(self, share: float) -> tuple[float, float]:
        """Return the least and greatest age by which ``share`` has failed among the laws: what the choice changes."""
        ages = [r.fit.quantile(share) for r in self.regions]
        return min(ages), max(ages)


def average_laws(regions: Sequence[Region], weights: Mapping[str, float] | None = None) -> AveragedLife:
    """Weigh fitted laws by exp(-AIC/2), or as told.

    Parameters
    ----------
    regions : sequence of Region
    weights : mapping of str to float, optional
        A weight for each law by name, as all groups of a component share them.

    Raises
    ------
    AnalysisError
        When there is no law to average.
    """
    if not regions:
        msg = "no fitted law to average; fit at least one"
        raise AnalysisError(msg)
    return AveragedLife(regions=tuple(regions), weights=law_weights([r.fit for r in regions], weights))


def averaged_quantile(fits: Sequence[LawFit], share: float, weights: Mapping[str, float] | None = None) -> float:
    """Return the age by which ``share`` has failed under the average of laws, by their Akaike weights or those told."""
    weight = law_weights(fits, weights)
    log_ages = [fit.law.log_quantile(fit.theta, share) for fit in fits]
    low, high = min(log_ages), max(log_ages)
    if high - low < 1e-9:
        return math.exp(low)

    def missing(log_age: float) -> float:
        failed = [1.0 - float(fit.law.survival(fit.theta, math.exp(log_age))) for fit in fits]
        return float(weight @ np.array(failed)) - share

    return math.exp(float(optimize.brentq(missing, low - 1e-9, high + 1e-9)))


def akaike_weights(criteria: Sequence[float]) -> FloatArray:
    """Return weights proportional to exp(-AIC/2)."""
    aic = np.array(criteria)
    raw = np.exp(-0.5 * (aic - aic.min()))
    weights: FloatArray = raw / raw.sum()
    return weights


def law_weights(fits: Sequence[LawFit], told: Mapping[str, float] | None) -> FloatArray:
    """Return the weights of fitted laws, adding up to one: those told by name, or Akaike's."""
    if told is None:
        return akaike_weights([fit.aic for fit in fits])
    # a law that no group supports may be the only one fitted here: it must still weigh something
    raw = np.array([max(told[fit.law.name], 1e-12) for fit in fits])
    weights: FloatArray = raw / raw.sum()
    return weights


def _solve(gap: Callable[[float], float], low: float, high: float) -> float:
    """Return where an increasing function is zero, or the end nearest to it."""
    if gap(low) >= 0:
        return low
    if gap(high) <= 0:
        return high
    return float(optimize.brentq(gap, low, high, xtol=1e-10))
