"""How far may a fitted law be off, as draws? Draws of its parameters, weighted-bootstrap refits, failures to come.

A plug-in forecast takes the fitted law as the truth and is too sure; drawing the parameters first repairs it.
Sources: L. Xu, C. Gotwalt, Y. Hong, C. B. King, W. Q. Meeker, Am. Stat. 74 (2020), the fractional-random-weight
bootstrap; Q. Tian, F. Meng, D. J. Nordman, W. Q. Meeker, J. Am. Stat. Assoc. (2021), plug-in prediction intervals
never reach their level (both from their abstracts). Checked in tests/studies/life_study.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fleet.analysis.life_chosen import ChosenLives
from fleet.analysis.life_fit import LawFit, Likelihood, Region, fit_law
from fleet.analysis.life_sample import IndexArray
from fleet.analysis.poisson import FloatArray, Interval, check_level
from fleet.errors import AnalysisError
from fleet.settings import LEVEL

DRAWS = 500

REFITS = 200
"""Refits behind a bootstrap interval at 90 %: ten beyond each limit."""

_BATCH = 64
_FEWEST_SETTLED = 0.9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Refits(Region):
    """Refits of a law under random weights, read like a likelihood region; ``border`` holds them all."""

    def interval(self, log_quantity: Callable[[FloatArray], float]) -> Interval:
        """Bound a positive quantity, given its log as a function of theta, by the middle share of its refits."""
        values = np.array([log_quantity(theta) for theta in self.border])
        low, high = np.exp(np.quantile(values, [0.5 - 0.5 * self.level, 0.5 + 0.5 * self.level]))
        return Interval(low=float(low), high=float(high), level=self.level, method="weighted bootstrap of units")


def draw_parameters(fit: LawFit, likelihood: Likelihood, n: int = DRAWS, *, seed: int) -> FloatArray:
    """Draw (log scale, log shape) from the likelihood (times the prior, where there is one) taken as a density.

    Returns
    -------
    ndarray of shape (n, 2)

    Raises
    ------
    AnalysisError
        When the fit has trouble.

    Notes
    -----
    Importance resampling: four times as many draws from a t law with 5 degrees of freedom and the fit's covariance,
    each weighed by the likelihood over the density it was drawn from, then ``n`` of them by systematic resampling.
    """
    if fit.trouble:
        msg = f"no draws from a {fit.law.name} fit with trouble: {fit.trouble}"
        raise AnalysisError(msg)
    rng = np.random.default_rng(seed)
    root = np.linalg.cholesky(fit.covariance)
    normal, chi = rng.standard_normal((4 * n, 2)), rng.chisquare(5.0, 4 * n)
    spread = normal / np.sqrt(chi / 5.0)[:, None]
    thetas: FloatArray = fit.theta + spread @ root.T
    log_drawn = -3.5 * np.log1p((spread**2).sum(axis=1) / 5.0)
    batches = np.array_split(thetas, -(-4 * n // _BATCH))
    log_wanted = np.concatenate([likelihood.values(fit.law, some) for some in batches])
    log_wanted = log_wanted + (fit.prior.values(thetas) if fit.prior else 0.0)
    weight = np.exp(log_wanted - log_drawn - (log_wanted - log_drawn).max())
    steps = (np.arange(n) + rng.random()) / n
    places = np.searchsorted(np.cumsum(weight) / weight.sum(), steps)
    drawn: FloatArray = thetas[np.minimum(places, thetas.shape[0] - 1)]
    return drawn


def bootstrap_parameters(
    fit: LawFit,
    weighted: Callable[[FloatArray], Likelihood],
    units: int,
    n: int = DRAWS,
    *,
    seed: int,
) -> FloatArray:
    """Refit a law with random exponential weights on units: (log scale, log shape) of each refit.

    Parameters
    ----------
    weighted : callable
        Takes one weight a unit, averaging one, and returns the likelihood with each unit's lives so weighed.
    units : int
        How many units there are: lives in one unit are weighed together, since they aren't independent.

    Returns
    -------
    ndarray of shape (refits that settled, 2)
    """
    rng = np.random.default_rng(seed)
    draws = []
    for _ in range(n):
        weights = rng.exponential(size=units)
        refit = fit_law(fit.law, weighted(weights * units / weights.sum()), fit.theta, prior=fit.prior)
        if not refit.trouble:
            draws.append(refit.theta)
    return np.array(draws).reshape(-1, 2)


def bootstrap_regions(
    chosen: ChosenLives, fits: Sequence[LawFit], level: float = LEVEL, n: int = REFITS, *, seed: int
) -> list[Region]:
    """Refit laws to the same random weights of units; a law too few of whose refits settle is left out.

    Parameters
    ----------
    chosen : ChosenLives
    fits : sequence of LawFit
        The fits to all lives, each refit beginning there; priors are kept.
    level : float
    n : int
        Refits of each law.
    seed : int
    """
    check_level(level)
    rng = np.random.default_rng(seed)
    units = np.unique(np.concatenate([chosen.known_unit, chosen.unknown_unit]))
    by_unit = np.zeros(int(units.max()) + 1)
    draws: list[list[FloatArray]] = [[] for _ in fits]
    for _ in range(n):
        weights = rng.exponential(size=units.size)
        by_unit[units] = weights * units.size / weights.sum()
        likelihood = chosen.weighed(by_unit)
        for fit, kept in zip(fits, draws, strict=True):
            refit = fit_law(fit.law, likelihood, fit.theta, prior=fit.prior)
            if not refit.trouble:
                kept.append(refit.theta)
    enough = _FEWEST_SETTLED * n
    return [
        Refits(border=np.array(kept), level=level, closed=True, fit=fit)
        for fit, kept in zip(fits, draws, strict=True)
        if len(kept) >= enough
    ]


def interval_of_draws(fit: LawFit, thetas: FloatArray, share: float, level: float = LEVEL) -> Interval:
    """Bound the age by which ``share`` has failed by the middle ``level`` of draws or refits."""
    check_level(level)
    ages = [fit.law.quantile(theta, share) for theta in thetas]
    low, high = np.quantile(ages, [0.5 - 0.5 * level, 0.5 + 0.5 * level])
    return Interval(low=float(low), high=float(high), level=level, method="draws")


def draw_failures(fit: LawFit, thetas: FloatArray, ages: npt.ArrayLike, years: float, *, seed: int) -> IndexArray:
    """Draw how many of the parts in service fail within ``years``, once for each draw of the parameters.

    Parameters
    ----------
    ages : array-like
        Present age of each part; a part is counted to its first failure only.
    """
    rng = np.random.default_rng(seed)
    now = np.asarray(ages, dtype=np.float64)
    counts = []
    for theta in thetas:
        alive = fit.law.survival(theta, now)
        chance = 1.0 - fit.law.survival(theta, now + years) / np.maximum(alive, 1e-300)
        counts.append(int((rng.random(now.size) < chance).sum()))
    return np.array(counts, dtype=np.intp)
