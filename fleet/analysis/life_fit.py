"""How long do parts last, fitted: the best law of a kind, a weak prior where failures are few, its interval.

Newton steps on (log scale, log shape). An interval bounds any age or shape by its range over the likelihood region
{theta: 2 [L(best) - L(theta)] <= chi-square quantile, 1 df}, which is the profile-likelihood-ratio interval: the
region's border is traced once and every quantity read off it. With a prior, L is the log-likelihood plus the prior's
log density.
Sources: W. Q. Meeker and L. A. Escobar, Statistical Methods for Reliability Data (1998), sections 8.3 and B.6.5 (from
memory); R. D. Cook and S. Weisberg, J. Am. Stat. Assoc. 85 (1990), confidence curves (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from scipy import special

from fleet.analysis.life_laws import Law
from fleet.analysis.life_sample import LifeSample, LifeTerms, life_terms, log_likelihood
from fleet.analysis.poisson import FloatArray, Interval, check_level
from fleet.settings import LEVEL

SHAPE_BOUNDS = (0.1, 40.0)
"""A shape outside these is no wear-out and no early failure: the data don't hold it."""

_SCALE_BOUNDS = (1e-4, 1e6)
_STEP = 1e-4
_MAX_STEPS = 60
_DIRECTIONS = 24
_REFINED = 16
_FARTHEST = 30.0


class Likelihood(Protocol):
    """What a fit needs: the log-likelihood at (log scale, log shape), and its gradient."""

    def value(self, law: Law, theta: FloatArray) -> float:
        """Return the log-likelihood."""
        ...

    def derivatives(self, law: Law, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return its gradient and its Hessian in log scale and log shape."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """A weak normal prior on the logs of scale and shape, said aloud wherever it is used."""

    log_scale: float
    log_scale_sd: float
    log_shape: float
    log_shape_sd: float

    def value(self, theta: FloatArray) -> float:
        """Return the log density without its constant."""
        return -0.5 * float(np.sum((self._standard(theta)) ** 2))

    def derivatives(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the gradient and Hessian of ``value``."""
        sd = np.array([self.log_scale_sd, self.log_shape_sd])
        return -self._standard(theta) / sd, -np.diag(sd**-2)

    def _standard(self, theta: FloatArray) -> FloatArray:
        center = np.array([self.log_scale, self.log_shape])
        standard: FloatArray = (theta - center) / np.array([self.log_scale_sd, self.log_shape_sd])
        return standard


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KnownLives:
    """The likelihood of lives whose ages are known."""

    terms: LifeTerms = field(repr=False)

    @classmethod
    def of(cls, sample: LifeSample, weights: FloatArray | None = None) -> KnownLives:
        """Take a sample, or a weighted one."""
        return cls(terms=life_terms(sample, weights))

    def value(self, law: Law, theta: FloatArray) -> float:
        """Return the log-likelihood."""
        return log_likelihood(law, theta, self.terms)[0]

    def derivatives(self, law: Law, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return its analytic gradient, and the Hessian by central differences of it."""
        steps = np.eye(2) * _STEP
        ahead, behind = (
            np.array([log_likelihood(law, theta + way * step, self.terms)[1] for step in steps]) for way in (1.0, -1.0)
        )
        hessian = (ahead - behind) / (2.0 * _STEP)
        return log_likelihood(law, theta, self.terms)[1], 0.5 * (hessian + hessian.T)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LawFit:
    """A fitted law.

    Attributes
    ----------
    theta : ndarray of shape (2,)
        Log scale and log shape.
    log_likelihood : float
        Without the prior.
    covariance : ndarray of shape (2, 2)
        Inverse of the observed information (prior included): for whitening and draws, never for an interval.
    trouble : str
        Blank, or why the fit can't be used.
    """

    law: Law
    theta: FloatArray
    log_likelihood: float
    covariance: FloatArray = field(repr=False)
    prior: Prior | None
    steps: int
    trouble: str

    @property
    def scale(self) -> float:
        """Return the scale (for the Weibull, the age by which 63 % have failed; otherwise the median)."""
        return math.exp(self.theta[0])

    @property
    def shape(self) -> float:
        """Return the shape; for the Weibull above 1 means wearing out."""
        return math.exp(self.theta[1])

    @property
    def aic(self) -> float:
        """Return Akaike's criterion, smaller being better."""
        return 4.0 - 2.0 * self.log_likelihood

    def quantile(self, share: float) -> float:
        """Return the age by which ``share`` has failed: 0.1 gives B10, 0.5 the median."""
        return self.law.quantile(self.theta, share)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """The border of a likelihood region: points of (log scale, log shape), in order around the best fit."""

    border: FloatArray = field(repr=False)
    level: float
    closed: bool
    fit: LawFit = field(repr=False)

    def interval(self, log_quantity: Callable[[FloatArray], float]) -> Interval:
        """Bound a positive quantity, given its log as a function of theta; infinite where the region is open."""
        values = np.array([log_quantity(point) for point in self.border])
        method = "likelihood ratio" + (" with a weak prior" if self.fit.prior else "")
        fine = _interpolated(values) if self.closed else values
        low, high = math.exp(float(fine.min())), math.exp(min(float(fine.max()), 700.0))
        return Interval(low=low, high=high, level=self.level, method=method)

    def quantile(self, share: float) -> Interval:
        """Bound the age by which ``share`` has failed."""
        return self.interval(lambda theta: self.fit.law.log_quantile(theta, share))

    def scale(self) -> Interval:
        """Bound the scale."""
        return self.interval(lambda theta: float(theta[0]))

    def shape(self) -> Interval:
        """Bound the shape."""
        return self.interval(lambda theta: float(theta[1]))


def fit_law(
    law: Law, likelihood: Likelihood, start: FloatArray, *, prior: Prior | None = None, max_steps: int = _MAX_STEPS
) -> LawFit:
    """Fit a law to lives.

    Parameters
    ----------
    law : Law
    likelihood : Likelihood
        Lives of known age, of unknown birth, or both.
    start : ndarray of shape (2,)
        Log scale and log shape to begin at; `starting_point` gives one.
    prior : Prior, optional
        Added to the log-likelihood where failures are few.

    Returns
    -------
    LawFit
        ``trouble`` says where no best fit exists within bounds or steps ran out.

    Notes
    -----
    Newton steps with the Hessian from differences of the analytic gradient, damped until they gain.
    """
    objective = _Objective(law, likelihood, prior)
    theta = np.array(start, dtype=np.float64)
    damping, steps = 0.0, 0
    value = objective.value(theta)
    for steps in range(1, max_steps + 1):  # noqa: B007 (reported)
        slope, hessian = objective.derivatives(theta)
        move, gain = _newton_move(slope, hessian, damping)
        ahead = theta + move
        ahead_value = objective.value(ahead) if _inside(ahead) else -math.inf
        if ahead_value >= value:
            theta, value, damping = ahead, ahead_value, damping / 10.0
            if gain < 1e-10:
                break
        elif gain < 1e-10:
            break
        else:
            damping = max(1e-3 * float(np.abs(hessian).max()), damping * 8.0)
    return _finished(objective, theta, steps, max_steps)


def matching_point(law: Law, fit: LawFit) -> FloatArray:
    """Return where to begin under another law: the same median, and the same spread of the log of life."""
    log_shape = float(fit.theta[1]) + math.log(law.log_sd / fit.law.log_sd)
    log_median = fit.law.log_quantile(fit.theta, 0.5)
    return np.array([log_median - law.standard_quantile(0.5) * math.exp(-log_shape), log_shape])


def starting_point(law: Law, failures: float, years: float, *, log_shape: float = math.log(2.0)) -> FloatArray:
    """Guess log scale and log shape from failures and part-years; good enough to begin at."""
    scale = math.log(max(years, 1e-6) / max(failures, 0.5))
    return np.array([min(max(scale, -5.0), 7.0), log_shape + math.log(law.log_sd / (math.pi / math.sqrt(6.0)))])


def likelihood_region(fit: LawFit, likelihood: Likelihood, level: float = LEVEL) -> Region:
    """Trace the border of the region from which every interval at ``level`` is read.

    Notes
    -----
    In coordinates whitened by the fit's covariance the border is near a circle; along each of 24 rays its radius solves
    sqrt(drop) = sqrt(quantile / 2) by steps that are exact where the log-likelihood is quadratic. A ray on which
    the log-likelihood never falls far enough leaves the region open: ``closed`` is false, and the bound on that side is
    only what the search reached.
    """
    check_level(level)
    objective = _Objective(fit.law, likelihood, fit.prior)
    root = np.linalg.cholesky(fit.covariance)
    best, target = objective.value(fit.theta), math.sqrt(0.5 * _chi2(level))
    border, closed, radius = [], True, math.sqrt(_chi2(level))
    for angle in np.arange(_DIRECTIONS) * (2.0 * math.pi / _DIRECTIONS):
        ray = root @ np.array([math.cos(angle), math.sin(angle)])
        found = _radius(lambda r, ray=ray: best - objective.value(fit.theta + r * ray), radius, target)  # type: ignore[misc]
        closed &= found is not None
        radius = found if found is not None else math.sqrt(_chi2(level))
        border.append(fit.theta + (radius if found is not None else _FARTHEST * radius) * ray)
    return Region(border=np.array(border), level=level, closed=closed, fit=fit)


def _radius(drop: Callable[[float], float], guess: float, target: float) -> float | None:
    """Return the radius at which the log-likelihood has fallen by target squared, to a thousandth part."""
    low, high, radius = 0.0, math.inf, guess
    for _ in range(40):
        fallen = math.sqrt(max(drop(radius), 0.0))
        if abs(fallen - target) < 3e-4 * target:
            return radius
        low, high = (radius, high) if fallen < target else (low, radius)
        step = radius * target / fallen if fallen > 0 else 4.0 * radius
        if not low < step < high:
            step = 2.0 * low if math.isinf(high) else 0.5 * (low + high)
        if step > _FARTHEST * guess and math.isinf(high):
            return None
        radius = step
    return radius if math.isfinite(high) else None


def _interpolated(values: FloatArray) -> FloatArray:
    """Return a periodic function at 16 times as many points, through its Fourier series."""
    spectrum = np.fft.rfft(values)
    fine: FloatArray = np.fft.irfft(spectrum, n=_REFINED * values.size) * _REFINED
    return fine


def _chi2(level: float) -> float:
    return float(special.chdtri(1.0, 1.0 - level))


@dataclass(frozen=True, slots=True)
class _Objective:
    """Log-likelihood plus prior."""

    law: Law
    likelihood: Likelihood
    prior: Prior | None

    def value(self, theta: FloatArray) -> float:
        more = self.prior.value(theta) if self.prior else 0.0
        return self.likelihood.value(self.law, theta) + more

    def derivatives(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        slope, hessian = self.likelihood.derivatives(self.law, theta)
        if self.prior is None:
            return slope, hessian
        more_slope, more_hessian = self.prior.derivatives(theta)
        return slope + more_slope, hessian + more_hessian


def _newton_move(slope: FloatArray, hessian: FloatArray, damping: float) -> tuple[FloatArray, float]:
    """Return an uphill step, at most one in either log, and the gain it promises."""
    values, vectors = np.linalg.eigh(-hessian)
    # a direction of the wrong curvature is climbed as if it had the right one
    bend = np.maximum(np.abs(values), 1e-8) + damping
    move = vectors @ ((vectors.T @ slope) / bend)
    longest = float(np.abs(move).max())
    if longest > 1.0:
        move = move / longest
    return move, abs(float(slope @ move))


def _inside(theta: FloatArray) -> bool:
    bounds = ((math.log(low), math.log(high)) for low, high in (_SCALE_BOUNDS, SHAPE_BOUNDS))
    return all(low <= value <= high for value, (low, high) in zip(theta, bounds, strict=True))


def _finished(objective: _Objective, theta: FloatArray, steps: int, max_steps: int) -> LawFit:
    slope, hessian = objective.derivatives(theta)
    trouble, covariance = "", np.full((2, 2), np.nan)
    if np.linalg.eigvalsh(-hessian).min() <= 1e-9:
        trouble = "the lives seen don't hold both scale and shape"
    else:
        covariance = np.linalg.inv(-hessian)
        # half the squared Newton decrement is what is still to gain
        if float(slope @ covariance @ slope) > 1e-4:
            at_edge = not _inside(theta + covariance @ slope) or steps < max_steps
            trouble = "the best shape lies outside any that is likely" if at_edge else "the fit didn't settle"
    return LawFit(
        law=objective.law,
        theta=theta,
        log_likelihood=objective.likelihood.value(objective.law, theta),
        covariance=covariance,
        prior=objective.prior,
        steps=steps,
        trouble=trouble,
    )
