"""How much will be used in the coming year of what is taken in irregular amounts? A compound count, with its interval.

The rate of takings has its exact gamma posterior, years differ from one another by a factor of their own, and amounts
are drawn from those seen with random weights. Sources: gamma-Poisson with the Jeffreys prior; D. B. Rubin, The Bayesian
bootstrap, Ann. Stat. 9 (1981) (both from memory).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fleet.analysis.poisson import FloatArray, as_counts
from fleet.errors import AnalysisError

LEAST_YEAR_SPREAD = 0.15
"""Years are taken to differ by at least this (standard deviation of their factor): a few can't show it (own prior)."""


def year_spread(counts: npt.ArrayLike, exposures: npt.ArrayLike) -> float:
    """Estimate by how much years differ from one another beyond chance, as a share of the rate.

    Parameters
    ----------
    counts, exposures : array-like of shape (years,)
        Takings and time at risk of each year of the log.

    Returns
    -------
    float
        Standard deviation of a year's factor by moments, at least `LEAST_YEAR_SPREAD`.
    """
    n, years = as_counts(counts, exposures)
    kept = years > 0
    n, years = n[kept], years[kept]
    if n.size < 2 or not n.sum() > 0:
        return LEAST_YEAR_SPREAD
    expected = n.sum() / years.sum() * years
    # E (n - m)^2 = m + tau^2 m^2, summed over years; one degree of freedom went to the rate
    beyond = (((n - expected) ** 2).sum() * n.size / (n.size - 1) - expected.sum()) / (expected**2).sum()
    return float(max(LEAST_YEAR_SPREAD, np.sqrt(max(beyond, 0.0))))


def draw_year_ahead(
    rng: np.random.Generator,
    *,
    amounts: npt.ArrayLike,
    counts: npt.ArrayLike,
    exposures: npt.ArrayLike,
    exposure_ahead: float,
    draws: int = 4000,
) -> FloatArray:
    """Draw the amount of a year to come.

    Parameters
    ----------
    rng : numpy.random.Generator
        Seeded by the caller.
    amounts : array-like
        What was taken each time.
    counts, exposures : array-like of shape (years,)
        Takings and time at risk of each year of the log.
    exposure_ahead : float
        Time at risk of the year to come, in the same unit.
    draws : int
        How many years to draw.

    Returns
    -------
    ndarray of shape (draws,)

    Raises
    ------
    AnalysisError
        When there are takings but no amounts, or no time at risk in the log.
    """
    n, years = as_counts(counts, exposures)
    seen = np.asarray(amounts, dtype=np.float64)
    if not years.sum() > 0 or seen.size == 0:
        msg = f"{seen.size} amounts in {years.sum():g} unit-years: a year ahead needs at least one of both"
        raise AnalysisError(msg)
    spread = year_spread(n, years)
    rate = rng.gamma(n.sum() + 0.5, 1.0 / years.sum(), size=draws)
    factor = rng.gamma(1.0 / spread**2, spread**2, size=draws)
    takings = rng.poisson(rate * factor * exposure_ahead)
    weights = rng.dirichlet(np.ones(seen.size), size=draws)
    # which amount each taking has: its place among the draw's own running weights
    owner = np.repeat(np.arange(draws), takings)
    place = (np.cumsum(weights, axis=1)[owner] < rng.random(owner.size)[:, None]).sum(axis=1)
    return np.bincount(owner, weights=seen[np.minimum(place, seen.size - 1)], minlength=draws).astype(np.float64)
