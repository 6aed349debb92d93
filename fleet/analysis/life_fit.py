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
from fleet.analysis.life_sample import (
    IndexArray,
    LifeSample,
    LifeTerms,
    expand_log_likelihood,
    life_terms,
    log_likelihood,
    log_likelihoods,
)
from fleet.analysis.poisson import FloatArray, Interval, check_level
from fleet.settings import LEVEL

SHAPE_BOUNDS = (0.1, 40.0)
"""A shape outside these is no wear-out and no early failure: the data don't hold it."""

_SCALE_BOUNDS = (1e-4, 1e6)
_MAX_STEPS = 60
_SETTLED = 1e-8
"""A Newton step that promised so little gain leaves its square to gain."""

_DIRECTIONS = 24
_REFINED = 16
_FARTHEST = 30.0


class Likelihood(Protocol):
    """What a fit needs: the log-likelihood at (log scale, log shape), and its gradient."""

    def value(self, law: Law, theta: FloatArray) -> float:
        """Return the log-likelihood."""
        ...

    def values(self, law: Law, thetas: FloatArray) -> FloatArray:
        """Return the log-likelihood at each of several points, an array of shape (n, 2)."""
        ...

    def expand(self, law: Law, theta: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """Return the log-likelihood, its gradient and its Hessian in log scale and log shape."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """A normal prior on the logs of scale and shape, said aloud wherever it is used."""

    log_scale: float
    log_scale_sd: float
    log_shape: float
    log_shape_sd: float
    correlation: float = 0.0

    @property
    def center(self) -> FloatArray:
        """Return its mean, (log scale, log shape)."""
        return np.array([self.log_scale, self.log_shape])

    @property
    def precision(self) -> FloatArray:
        """Return the inverse of its covariance."""
        one, two, free = self.log_scale_sd, self.log_shape_sd, 1.0 - self.correlation**2
        cross = -self.correlation / (one * two)
        return np.array([[one**-2, cross], [cross, two**-2]]) / free

    def value(self, theta: FloatArray) -> float:
        """Return the log density without its constant."""
        return float(self.values(theta[None, :])[0])

    def values(self, thetas: FloatArray) -> FloatArray:
        """Return ``value`` at each of several points."""
        away = thetas - self.center
        density: FloatArray = -0.5 * ((away @ self.precision) * away).sum(axis=1)
        return density

    def derivatives(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the gradient and Hessian of ``value``."""
        slope: FloatArray = -self.precision @ (theta - self.center)
        return slope, -self.precision


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

    def values(self, law: Law, thetas: FloatArray) -> FloatArray:
        """Return the log-likelihood at each of several points."""
        return log_likelihoods(law, thetas, self.terms)

    def expand(self, law: Law, theta: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """Return it with its analytic gradient and Hessian."""
        return expand_log_likelihood(law, theta, self.terms)


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
    Newton steps with the Hessian, damped until they gain.
    """
    objective = _Objective(law, likelihood, prior)
    theta = np.array(start, dtype=np.float64)
    damping, steps = 0.0, 0
    here = objective.expand(theta)
    for steps in range(1, max_steps + 1):  # noqa: B007 (reported)
        value, slope, hessian = here
        move, gain = _newton_move(slope, hessian, damping)
        ahead = objective.expand(theta + move) if _inside(theta + move) else None
        if ahead is not None and ahead[0] >= value:
            theta, here, damping = theta + move, ahead, damping / 10.0
            if gain < _SETTLED:
                break
        elif gain < _SETTLED:
            break
        else:
            damping = max(1e-3 * float(np.abs(hessian).max()), damping * 8.0)
    return _finished(objective, theta, here, steps, max_steps)


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
    angles = np.arange(_DIRECTIONS) * (2.0 * math.pi / _DIRECTIONS)
    rays = np.column_stack([np.cos(angles), np.sin(angles)]) @ np.linalg.cholesky(fit.covariance).T
    best, usual = objective.value(fit.theta), math.sqrt(_chi2(level))
    found = _radii(
        lambda which, radius: best - objective.values(fit.theta + radius[:, None] * rays[which]),
        np.full(_DIRECTIONS, usual),
        math.sqrt(0.5 * _chi2(level)),
    )
    closed = bool(np.isfinite(found).all())
    radius = np.where(np.isfinite(found), found, _FARTHEST * usual)
    return Region(border=fit.theta + radius[:, None] * rays, level=level, closed=closed, fit=fit)


def _radii(drop: Callable[[IndexArray, FloatArray], FloatArray], guess: FloatArray, target: float) -> FloatArray:
    """Return on each ray the radius at which the log-likelihood has fallen by target squared, to a thousandth part.

    ``drop`` takes which rays and a radius on each; a ray on which it never falls so far gets no number.
    """
    radius, low, high = guess.copy(), np.zeros(guess.size), np.full(guess.size, np.inf)
    found, rays = np.full(guess.size, np.nan), np.arange(guess.size)
    for _ in range(40):
        at = radius[rays]
        fallen = np.sqrt(np.maximum(drop(rays, at), 0.0))
        settled, short = np.abs(fallen - target) < 3e-4 * target, fallen < target
        found[rays[settled]] = at[settled]
        low[rays[short]], high[rays[~short]] = at[short], at[~short]
        near, far = low[rays], high[rays]
        step = at * np.where(fallen > 0, target / np.maximum(fallen, 1e-300), 4.0)
        halfway = np.where(np.isinf(far), 2.0 * near, 0.5 * (near + far))
        step = np.where((near < step) & (step < far), step, halfway)
        radius[rays] = step
        rays = rays[~settled & ~((step > _FARTHEST * guess[rays]) & np.isinf(far))]
        if rays.size == 0:
            break
    return found


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

    def values(self, thetas: FloatArray) -> FloatArray:
        more: FloatArray | float = self.prior.values(thetas) if self.prior else 0.0
        return self.likelihood.values(self.law, thetas) + more

    def expand(self, theta: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        value, slope, hessian = self.likelihood.expand(self.law, theta)
        if self.prior is None:
            return value, slope, hessian
        more_slope, more_hessian = self.prior.derivatives(theta)
        return value + self.prior.value(theta), slope + more_slope, hessian + more_hessian


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


def _finished(
    objective: _Objective, theta: FloatArray, at: tuple[float, FloatArray, FloatArray], steps: int, max_steps: int
) -> LawFit:
    value, slope, hessian = at
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
        log_likelihood=value - (objective.prior.value(theta) if objective.prior else 0.0),
        covariance=covariance,
        prior=objective.prior,
        steps=steps,
        trouble=trouble,
    )
