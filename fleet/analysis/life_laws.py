"""Which laws may the age of a part at failure follow? Weibull, lognormal and log-logistic in one notation.

Each law is a law of z = shape × log(age / scale): its cumulative hazard H(z), the log of H'(z) and the slope of that
are all a likelihood needs, gradients included. ``theta`` is always (log scale, log shape). For the Weibull these are
its usual scale and shape; for the other two the scale is the median, and the lognormal's shape is 1/sigma.
Source: W. Q. Meeker and L. A. Escobar, Statistical Methods for Reliability Data (1998), chapters 4 and 8 (from memory).
Checked against scipy.stats in tests/unit/test_life_laws.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import special

from fleet.analysis.poisson import FloatArray

_HALF_LOG_2PI = 0.5 * math.log(2.0 * math.pi)

_YOUNGEST = 1e-300
"""Ages below this count as this: the log of zero isn't needed by any law."""

_FARTHEST = 300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Law:
    """A law of lives, by its standard form.

    Attributes
    ----------
    cumulative, log_rate, log_rate_slope, log_rate_bend : callable
        H(z), log H'(z) and the first and second derivative of the latter.
    standard_quantile : callable
        The z by which a share p has failed.
    log_sd : float
        Standard deviation of log age times the shape; it makes shapes of different laws comparable.
    """

    name: str
    cumulative: Callable[[FloatArray], FloatArray] = field(repr=False)
    log_rate: Callable[[FloatArray], FloatArray] = field(repr=False)
    log_rate_slope: Callable[[FloatArray], FloatArray] = field(repr=False)
    log_rate_bend: Callable[[FloatArray], FloatArray] = field(repr=False)
    standard_quantile: Callable[[float], float] = field(repr=False)
    log_sd: float

    def standard(self, theta: FloatArray, age: npt.ArrayLike) -> FloatArray:
        """Return z of each age; of several thetas (shape (n, 2)) a row each."""
        log_age = np.log(np.maximum(np.asarray(age, dtype=np.float64), _YOUNGEST))
        if theta.ndim == 1:
            z: FloatArray = math.exp(theta[1]) * (log_age - theta[0])
        else:
            z = np.exp(theta[:, 1:]) * (log_age - theta[:, :1])
        return z

    def survival(self, theta: FloatArray, age: npt.ArrayLike) -> FloatArray:
        """Return the share still working at each age; of several thetas a row each."""
        share: FloatArray = np.exp(-self.cumulative(self.standard(theta, age)))
        return share

    def hazard(self, theta: FloatArray, age: npt.ArrayLike) -> FloatArray:
        """Return failures per year of those still working at each age."""
        z = self.standard(theta, age)
        years = np.maximum(np.asarray(age, dtype=np.float64), _YOUNGEST)
        rate: FloatArray = np.exp(self.log_rate(z) + theta[1]) / years
        return rate

    def quantile(self, theta: FloatArray, share: float) -> float:
        """Return the age by which ``share`` has failed."""
        return math.exp(self.log_quantile(theta, share))

    def log_quantile(self, theta: FloatArray, share: float) -> float:
        """Return the log of the age by which ``share`` has failed."""
        return float(theta[0] + self.standard_quantile(share) * math.exp(-theta[1]))


def _softplus(z: FloatArray) -> FloatArray:
    value: FloatArray = np.logaddexp(0.0, z)
    return value


def _normal_cumulative(z: FloatArray) -> FloatArray:
    value: FloatArray = -special.log_ndtr(-z)
    return value


def _normal_log_rate(z: FloatArray) -> FloatArray:
    return _normal_cumulative(z) - 0.5 * z**2 - _HALF_LOG_2PI


def _normal_log_rate_bend(z: FloatArray) -> FloatArray:
    rate = np.exp(_normal_log_rate(z))
    return rate * (rate - z) - 1.0


def _exp(z: FloatArray) -> FloatArray:
    # beyond this the share still working is nought in any number of digits; no overflow on the way there
    value: FloatArray = np.exp(np.minimum(z, _FARTHEST))
    return value


WEIBULL = Law(
    name="Weibull",
    cumulative=_exp,
    log_rate=lambda z: np.minimum(z, _FARTHEST),
    log_rate_slope=lambda z: np.where(z < _FARTHEST, 1.0, 0.0),
    log_rate_bend=np.zeros_like,
    standard_quantile=lambda p: math.log(-math.log1p(-p)),
    log_sd=math.pi / math.sqrt(6.0),
)

LOGNORMAL = Law(
    name="lognormal",
    cumulative=_normal_cumulative,
    log_rate=_normal_log_rate,
    log_rate_slope=lambda z: np.exp(_normal_log_rate(z)) - z,
    log_rate_bend=_normal_log_rate_bend,
    standard_quantile=lambda p: float(special.ndtri(p)),
    log_sd=1.0,
)

LOG_LOGISTIC = Law(
    name="log-logistic",
    cumulative=_softplus,
    log_rate=lambda z: -_softplus(-z),
    log_rate_slope=lambda z: special.expit(-z),
    log_rate_bend=lambda z: -special.expit(z) * special.expit(-z),
    standard_quantile=lambda p: math.log(p) - math.log1p(-p),
    log_sd=math.pi / math.sqrt(3.0),
)

LAWS = (WEIBULL, LOGNORMAL, LOG_LOGISTIC)
"""Every law compared, the one whose shape is shown first."""
