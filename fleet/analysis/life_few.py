"""What can be said of lives with hardly any failure? Bounds with the shape assumed, and the exact rate bound.

With an assumed shape k the total W = sum(x^k - e^k) plays the part of exposure: failures against it are Poisson, so the
bounds are the chi-square ones. Where a life's birth is unknown its entry age e lies between what is known and the age
of its unit: the bounds take the least and the greatest W that any such age gives, so that they hold whatever it was.
The shape is assumed, not known: the band over several shapes is what is reported.
Source: the Weibayes method, U.S. Air Force report AFWAL-TR-83-2079, Weibull Analysis Handbook (1983), chapter 6 (from
memory); the constant-rate case is NIST/SEMATECH e-Handbook 8.4.5.1, reproduced in
tests/reference/test_reference_life.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from fleet.analysis.life_laws import WEIBULL
from fleet.analysis.life_sample import LifeSample
from fleet.analysis.poisson import FloatArray, Interval, check_level
from fleet.analysis.renewal_age import UnknownLives
from fleet.errors import AnalysisError
from fleet.settings import LEVEL


@dataclass(frozen=True, slots=True, kw_only=True)
class AssumedShape:
    """A Weibull whose shape is assumed.

    Attributes
    ----------
    scale : float
        (W / failures)^(1/shape), W being the mean of the least and the greatest; not a number without a failure.
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


def assume_shape(
    sample: LifeSample,
    shape: float,
    level: float = LEVEL,
    *,
    unknown: UnknownLives | None = None,
    oldest: float = math.inf,
) -> AssumedShape:
    """Estimate and bound the Weibull scale with the shape taken as known.

    Parameters
    ----------
    sample : LifeSample
        Failures known only to within an interval count at its middle.
    shape : float
    level : float
        Two-sided; each bound alone holds with (1 + level) / 2, so the low one at 0.90 is the one-sided 95 % bound.
    unknown : UnknownLives, optional
        Lives of unknown birth.
    oldest : float
        The greatest age at the log's start of a unit whose age is unknown.

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
    total = _power_years(sample.entry, sample.low, sample.high, shape)
    least, most, r = total, total, sample.failures
    if unknown is not None and len(unknown):
        ages = np.where(np.isnan(unknown.at_most), oldest, unknown.at_most)
        ends = [_unknown_power_years(unknown, age, shape) for age in (unknown.quiet, np.maximum(ages, unknown.quiet))]
        least, most, r = total + min(ends), total + max(ends), r + unknown.failures
    if not most > 0:
        count = len(sample) + (len(unknown) if unknown is not None else 0)
        msg = f"{count} lives were watched for no time at all: there is nothing to bound"
        raise AnalysisError(msg)
    tail, power = 0.5 * (1.0 - level), 1.0 / shape
    low = least / float(special.gammainccinv(r + 1.0, tail))
    high = most / float(special.gammaincinv(r, tail)) if r > 0 else math.inf
    return AssumedShape(
        shape=shape,
        scale=(0.5 * (least + most) / r) ** power if r > 0 else math.nan,
        low=low**power,
        high=high**power,
        level=level,
        failures=r,
    )


def shape_band(bounds: Sequence[AssumedShape], share: float) -> Interval:
    """Bound the age by which ``share`` has failed over all the shapes assumed: lowest low, highest high."""
    limits = [bound.quantile(share) for bound in bounds]
    shapes = [bound.shape for bound in bounds]
    return Interval(
        low=min(limit.low for limit in limits),
        high=max(limit.high for limit in limits),
        level=bounds[0].level,
        method=f"shape assumed between {min(shapes):g} and {max(shapes):g}",
    )


def _unknown_power_years(unknown: UnknownLives, age: FloatArray, shape: float) -> float:
    if not np.isfinite(age).all():
        # an age without end: no wear is left to happen below a shape of one, without end above it
        return math.inf if shape > 1.0 else 0.0
    return _power_years(age, age + unknown.low, age + unknown.high, shape)


def _power_years(entry: FloatArray, low: FloatArray, high: FloatArray, shape: float) -> float:
    """Return the sum of leave^shape - entry^shape; a failure between two ages counts midway."""
    leave = np.where(np.isfinite(high), 0.5 * (low + np.where(np.isfinite(high), high, 0.0)), low)
    return float((leave**shape - entry**shape).sum())
