"""What can be said of lives with hardly any failure? Bounds with the shape assumed, and the exact rate bound.

With an assumed shape k the total W = sum(x^k - e^k) plays the part of exposure: failures against it are Poisson, so the
bounds are the chi-square ones. The shape is assumed, not known: the band over several shapes is what is reported.
Source: the Weibayes method, U.S. Air Force report AFWAL-TR-83-2079, Weibull Analysis Handbook (1983), chapter 6 (from
memory); the constant-rate case is NIST/SEMATECH e-Handbook 8.4.5.1, reproduced in
tests/reference/test_reference_life.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from fleet.analysis.life_laws import WEIBULL
from fleet.analysis.life_sample import LifeSample
from fleet.analysis.poisson import Interval, check_level
from fleet.errors import AnalysisError
from fleet.settings import LEVEL


@dataclass(frozen=True, slots=True, kw_only=True)
class AssumedShape:
    """A Weibull whose shape is assumed.

    Attributes
    ----------
    scale : float
        (W / failures)^(1/shape); not a number without a failure.
    low, high : float
        Bounds of the scale; ``high`` is infinite without a failure.
    """

    shape: float
    scale: float
    low: float
    high: float
    level: float
    failures: int

    def quantile(self, share: float) -> Interval:
        """Bound the age by which ``share`` has failed, were the shape right."""
        factor = math.exp(WEIBULL.standard_quantile(share) / self.shape)
        return Interval(low=self.low * factor, high=self.high * factor, level=self.level, method="shape assumed")


def assume_shape(sample: LifeSample, shape: float, level: float = LEVEL) -> AssumedShape:
    """Estimate and bound the Weibull scale with the shape taken as known.

    Parameters
    ----------
    sample : LifeSample
        Failures known only to within an interval count at its middle.
    shape : float
    level : float
        Two-sided; each bound alone holds with (1 + level) / 2, so the low one at 0.90 is the one-sided 95 % bound.

    Raises
    ------
    AnalysisError
        When the parts were never watched.

    Notes
    -----
    low = (2 W / chi2((1+level)/2; 2r+2))^(1/k), high = (2 W / chi2((1-level)/2; 2r))^(1/k), as for a test that time
    stopped.
    """
    check_level(level)
    failed = np.isfinite(sample.high)
    leave = np.where(failed, 0.5 * (sample.low + np.where(failed, sample.high, 0.0)), sample.low)
    total, r = float((leave**shape - sample.entry**shape).sum()), sample.failures
    if not total > 0:
        msg = f"{len(sample)} lives were watched for no time at all: there is nothing to bound"
        raise AnalysisError(msg)
    tail = 0.5 * (1.0 - level)
    low = total / float(special.gammainccinv(r + 1.0, tail))
    high = total / float(special.gammaincinv(r, tail)) if r > 0 else math.inf
    power = 1.0 / shape
    return AssumedShape(
        shape=shape,
        scale=(total / r) ** power if r > 0 else math.nan,
        low=low**power,
        high=high**power if r > 0 else math.inf,
        level=level,
        failures=r,
    )


def shape_band(sample: LifeSample, shapes: tuple[float, ...], share: float, level: float = LEVEL) -> Interval:
    """Bound the age by which ``share`` has failed over all the shapes assumed: lowest low, highest high."""
    bounds = [assume_shape(sample, shape, level).quantile(share) for shape in shapes]
    return Interval(
        low=min(b.low for b in bounds),
        high=max(b.high for b in bounds),
        level=level,
        method=f"shape assumed between {min(shapes):g} and {max(shapes):g}",
    )
