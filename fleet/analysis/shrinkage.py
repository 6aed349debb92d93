"""What is the rate of a small group, when all groups together say what is usual? Gamma-Poisson shrinkage.

Each group's true rate is drawn from a gamma law with mean ``m`` and shape ``k`` (so its relative spread is
1/sqrt(k)); its failures are Poisson. ``m`` and ``k`` are fitted by the negative binomial marginal likelihood and
their own uncertainty is kept as a weighted set of nodes, because intervals that ignore it are too short when
groups are few. Sources: E. Hauer et al., Transportation Research Record 1784 (2002), the method by example;
C. N. Morris, J. Am. Stat. Assoc. 78 (1983), empirical Bayes intervals; A. Gelman, Bayesian Analysis 1 (2006), the
half-Cauchy prior of a spread. Checked in tests/reference/test_reference_rates.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from fleet.analysis.gamma_mixtures import MANY_CELLS, Nodes, by_cell, log_mixture_quantile, unique_pairs
from fleet.analysis.poisson import FloatArray, as_counts, check_level
from fleet.errors import AnalysisError
from fleet.settings import LEVEL

SpreadPrior = Literal["half-cauchy", "log-uniform"]

MIN_GROUPS = 3
"""Fewer groups at risk than this can't say how groups differ; each then stands alone."""

K_NODES = 20
"""Nodes of the grid over the gamma shape."""

_K_LOW = 0.05
_FIT_BINS = 256


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShrunkRates:
    """Each group's rate after the others have had their say, with how sure it is.

    Attributes
    ----------
    mean, sd, low, high : ndarray of shape (groups,)
        Posterior mean, standard deviation and equal-tailed interval, failures per unit of exposure; not a
        number for a group without exposure where nothing could be pooled.
    mean_rate : float
        The mean of the law the groups are drawn from (where nothing could be pooled: all failures over all exposure).
    spread : float
        Relative standard deviation of true rates between groups, 1/sqrt(k), averaged over its uncertainty;
        not a number where nothing could be pooled.
    pooled : bool
        Whether the groups were pooled; ``note`` says why not, in a whole sentence.
    shapes, rates, means, weights : ndarray of shape (nodes,)
        The gamma laws (shape, rate, mean) the answer is averaged over, and their weights.
    """

    counts: FloatArray = field(repr=False)
    exposures: FloatArray = field(repr=False)
    mean: FloatArray
    sd: FloatArray = field(repr=False)
    low: FloatArray
    high: FloatArray
    level: float
    mean_rate: float
    spread: float
    pooled: bool
    note: str
    method: str
    shapes: FloatArray = field(repr=False)
    rates: FloatArray = field(repr=False)
    means: FloatArray = field(repr=False)
    weights: FloatArray = field(repr=False)

    def probability_above(self, times_mean: float) -> FloatArray:
        """Give each group's chance that its true rate is over ``times_mean`` times the mean of all groups."""

        def chance(n: FloatArray, exposure: FloatArray) -> FloatArray:
            total = np.zeros(n.shape)
            for shape, rate, mean, weight in zip(self.shapes, self.rates, self.means, self.weights, strict=True):
                total += weight * special.gammaincc(n + shape, times_mean * mean * (exposure + rate))
            return total

        found = np.clip(by_cell(self.counts, self.exposures, chance), 0.0, 1.0)
        return np.where(np.isnan(self.mean), np.nan, found)

    def posterior_draws(self, rng: np.random.Generator, size: int) -> FloatArray:
        """Draw true rates of all groups jointly.

        Parameters
        ----------
        rng : numpy.random.Generator
            The seeded source of chance.
        size : int
            How many draws.

        Returns
        -------
        ndarray of shape (size, groups)
            Each draw takes one law for all groups, so groups move together as far as the law itself is unsure.
        """
        node = rng.choice(self.weights.size, size=size, p=self.weights)
        shape = self.shapes[node][:, None] + self.counts[None, :]
        rate = self.rates[node][:, None] + self.exposures[None, :]
        with np.errstate(divide="ignore"):
            draws: FloatArray = rng.gamma(shape) / rate
        draws[:, np.isnan(self.mean)] = np.nan
        return draws


@dataclass(frozen=True, slots=True, kw_only=True)
class GammaPrior:
    """One gamma law of true rates: its shape and rate; ``at_cap`` when groups differ no more than chance allows."""

    shape: float
    rate: float
    at_cap: bool


def shrink_rates(
    counts: npt.ArrayLike,
    exposures: npt.ArrayLike,
    *,
    level: float = LEVEL,
    k_cap: float = 1000.0,
    spread_prior: SpreadPrior = "half-cauchy",
    spread_scale: float = 1.0,
) -> ShrunkRates:
    """Estimate each group's rate with the strength of all groups together.

    Parameters
    ----------
    counts, exposures : array-like of shape (groups,)
        Failures, and unit-years or expected failures (then a rate of 1 is the usual).
    level : float
        Two-sided level of ``low`` and ``high``.
    k_cap : float
        Largest gamma shape allowed; 1000 means true rates within 3 % of each other.
    spread_prior : {"half-cauchy", "log-uniform"}
        Prior of the relative spread 1/sqrt(k) between groups; ``spread_scale`` is the half-Cauchy's median.

    Returns
    -------
    ShrunkRates
        With under three groups at risk no pooling is possible: ``pooled`` is False, ``note`` says so, and each
        group stands alone under the Jeffreys prior.

    Raises
    ------
    AnalysisError
        When a count or exposure is unusable, or ``level``, ``k_cap`` or ``spread_scale`` is out of range.

    Notes
    -----
    The mean has a weak prior, so a fleet without any failure still has a proper answer. Identical groups are
    worked out once; beyond 2000 distinct ones, quantiles are splined along exposure (error under 1e-4).
    """
    check_level(level)
    n, exposure = as_counts(counts, exposures)
    if not (k_cap > 1.0 and spread_scale > 0.0):
        msg = f"k_cap = {k_cap} must be above 1 and spread_scale = {spread_scale} above 0"
        raise AnalysisError(msg)
    n, exposure = n.ravel(), exposure.ravel()
    groups = int(np.count_nonzero(exposure > 0))
    if groups < MIN_GROUPS:
        return _stand_alone(n, exposure, level, groups)

    def log_prior(k: FloatArray) -> FloatArray:
        if spread_prior == "log-uniform":
            return np.zeros(k.shape)
        # Half-Cauchy density of s = 1/sqrt(k), times |ds/dlog k| = s/2.
        return -0.5 * np.log(k) - np.log1p(1.0 / (k * spread_scale**2))

    cells = _fit_cells(n, exposure)
    shapes, means, weights = _hyper_nodes(cells, k_cap, log_prior)
    return _posterior(
        (n, exposure), (shapes, shapes / means, means, weights), level, note="", method="gamma-Poisson shrinkage"
    )


def shrink_with_prior(
    counts: npt.ArrayLike, exposures: npt.ArrayLike, *, shape: float, rate: float, level: float = LEVEL
) -> ShrunkRates:
    """Estimate each group's rate under one given gamma law of true rates (mean shape/rate).

    Raises
    ------
    AnalysisError
        When a count, an exposure or the law is unusable.

    Source
    ------
    Posterior Gamma(shape + count, rate + exposure); Hauer et al. (2002), worked example.
    """
    check_level(level)
    n, exposure = as_counts(counts, exposures)
    if not (0 < shape < math.inf and 0 < rate < math.inf):
        msg = f"gamma prior with shape = {shape} and rate = {rate}: both must be above zero"
        raise AnalysisError(msg)
    nodes = (np.array([shape]), np.array([rate]), np.array([shape / rate]), np.ones(1))
    return _posterior((n.ravel(), exposure.ravel()), nodes, level, note="", method="gamma-Poisson, given prior")


def fit_gamma_prior(counts: npt.ArrayLike, exposures: npt.ArrayLike, *, k_cap: float = 1000.0) -> GammaPrior:
    """Fit the one most likely gamma law of true rates (plain empirical Bayes; `shrink_rates` keeps its uncertainty).

    Raises
    ------
    AnalysisError
        When there are under three groups at risk or no failure at all.
    """
    n, exposure = as_counts(counts, exposures)
    groups = int(np.count_nonzero(exposure > 0))
    if groups < MIN_GROUPS or n.sum() == 0:
        msg = f"{groups} groups with {n.sum():g} failures can't fit a law of rates; at least {MIN_GROUPS} and 1 needed"
        raise AnalysisError(msg)
    cells = _fit_cells(n.ravel(), exposure.ravel())

    def loss(log_k: float) -> float:
        k = np.array([math.exp(log_k)])
        log_m, _ = _mode_of_mean(cells, k, prior=False)
        return -float(_log_marginal(cells, np.exp(log_m), k)[0])

    bounds = (math.log(_K_LOW), math.log(k_cap))
    best = optimize.minimize_scalar(loss, bounds=bounds, method="bounded", options={"xatol": 1e-9})
    k = math.exp(float(best.x))
    log_m, _ = _mode_of_mean(cells, np.array([k]), prior=False)
    return GammaPrior(shape=k, rate=k / math.exp(float(log_m[0])), at_cap=k > 0.99 * k_cap)


def negative_binomial_log_likelihood(
    counts: npt.ArrayLike, exposures: npt.ArrayLike, *, mean: float, shape: float
) -> float:
    """Give the log marginal likelihood of all groups when true rates are gamma with this mean and shape."""
    n, exposure = as_counts(counts, exposures)
    n, exposure = n.ravel(), exposure.ravel()
    constant = special.xlogy(n, exposure) - special.gammaln(n + 1.0)
    cells = (n, exposure, np.ones(n.size))
    return float(_log_marginal(cells, np.array([mean]), np.array([shape]))[0] + constant.sum())


Cells = tuple[FloatArray, FloatArray, FloatArray]


def _stand_alone(n: FloatArray, exposure: FloatArray, level: float, groups: int) -> ShrunkRates:
    """Give each group its own Jeffreys posterior, Gamma(n + 1/2, T), and say that nothing was pooled."""
    total = exposure.sum()
    mean = float(n.sum() / total) if total > 0 else math.nan
    noun = "group has" if groups == 1 else "groups have"
    note = f"Only {groups} {noun} time at risk, so there is nothing to pool; each rate stands on its own failures."
    nodes = (np.array([0.5]), np.zeros(1), np.array([mean]), np.ones(1))
    return _posterior((n, exposure), nodes, level, note=note, method="each group alone (Jeffreys prior)")


def _fit_cells(n: FloatArray, exposure: FloatArray) -> Cells:
    """Collapse equal groups to (count, exposure, how many); bin exposures finely where still too many differ."""
    pairs, inverse = unique_pairs(n, exposure)
    weight = np.bincount(inverse).astype(np.float64)
    if pairs.shape[0] <= MANY_CELLS:
        return pairs[:, 0], pairs[:, 1], weight
    positive = exposure > 0
    log_exposure = np.log(exposure[positive])
    edges = np.linspace(log_exposure.min(), log_exposure.max(), _FIT_BINS + 1)
    code = np.clip(np.searchsorted(edges, log_exposure, side="right") - 1, 0, _FIT_BINS - 1)
    key, inverse = np.unique(n[positive] * _FIT_BINS + code, return_inverse=True)
    weight = np.bincount(inverse).astype(np.float64)
    center = np.bincount(inverse, weights=exposure[positive]) / weight
    return np.floor(key / _FIT_BINS), center, weight


def _log_marginal(cells: Cells, m: FloatArray, k: FloatArray) -> FloatArray:
    """Sum the negative binomial log-likelihood over cells, for each (m, k); constants in the data left out."""
    n, exposure, weight = cells
    column, mean = k[:, None], m[:, None] * exposure[None, :]
    values, inverse = np.unique(n, return_inverse=True)
    rising = (special.gammaln(values[None, :] + column) - special.gammaln(column)) @ np.bincount(
        inverse, weights=weight
    )
    spent = ((n[None, :] + column) * np.log(column + mean)) @ weight
    total: FloatArray = rising - spent + weight.sum() * k * np.log(k) + (n @ weight) * np.log(m)
    return total


def _crude(cells: Cells) -> float:
    n, exposure, weight = cells
    return (float(n @ weight) + 0.5) / float(exposure @ weight)


def _log_mean_prior(cells: Cells, m: FloatArray) -> FloatArray:
    """Weigh the mean by m^(-1/2) exp(-m / (20 crude rate)) dm: proper even where nothing has failed."""
    return 0.5 * np.log(m) - 0.05 * m / _crude(cells)


def _mode_of_mean(cells: Cells, k: FloatArray, *, prior: bool = True) -> tuple[FloatArray, FloatArray]:
    """Return, for each k, the most likely log m and its standard deviation (the curve is concave in log m)."""
    n, exposure, weight = cells
    crude = _crude(cells)
    failures, brake = float(n @ weight) + 0.5 * prior, 0.05 * prior / crude
    log_m = np.full(k.shape, math.log(crude))
    for _ in range(50):
        mean = np.exp(log_m)[:, None] * exposure[None, :]
        pull = (n[None, :] + k[:, None]) / (k[:, None] + mean)
        score = failures - (pull * mean) @ weight - brake * np.exp(log_m)
        information = (pull * mean * k[:, None] / (k[:, None] + mean)) @ weight + brake * np.exp(log_m)
        step = np.clip(score / information, -1.0, 1.0)
        log_m = log_m + step
        if np.abs(step).max() < 1e-10:
            break
    return log_m, 1.0 / np.sqrt(information)


def _hyper_nodes(
    cells: Cells, k_cap: float, log_prior: Callable[[FloatArray], FloatArray]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Lay weighted nodes (k, m) over their joint posterior: a grid in log k, Gauss-Hermite in log m at each k."""
    low, high = math.log(_K_LOW), math.log(k_cap)
    for _ in range(4):
        grid = np.linspace(low, high, K_NODES)
        k = np.exp(grid)
        log_m, sd = _mode_of_mean(cells, k)
        height = (
            _log_marginal(cells, np.exp(log_m), k) + _log_mean_prior(cells, np.exp(log_m)) + np.log(sd) + log_prior(k)
        )
        kept = np.flatnonzero(height > height.max() - 12.0)
        if kept.size > K_NODES // 2:
            break
        # The likelihood is narrow: lay the same number of nodes over where it lives.
        low, high = grid[max(kept[0] - 1, 0)], grid[min(kept[-1] + 1, K_NODES - 1)]
    return _spread_over_mean(cells, k[kept], log_m[kept], sd[kept], log_prior)


def _spread_over_mean(
    cells: Cells,
    k: FloatArray,
    log_m: FloatArray,
    sd: FloatArray,
    log_prior: Callable[[FloatArray], FloatArray],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Put Gauss-Hermite nodes in log m at each k and weigh them by the posterior itself."""
    widest = float(sd.max())
    points, gauss = np.polynomial.hermite.hermgauss(11 if widest > 0.1 else 3 if widest > 0.01 else 1)
    all_k = np.repeat(k, points.size)
    all_m = np.exp((log_m[:, None] + math.sqrt(2.0) * sd[:, None] * points[None, :]).ravel())
    log_weight = _log_marginal(cells, all_m, all_k) + _log_mean_prior(cells, all_m) + log_prior(all_k)
    log_weight += (np.log(sd)[:, None] + np.log(gauss)[None, :] + points[None, :] ** 2).ravel()
    weight = np.exp(log_weight - log_weight.max())
    kept = weight > 1e-5 * weight.max()
    return all_k[kept], all_m[kept], weight[kept] / weight[kept].sum()


def _posterior(
    data: tuple[FloatArray, FloatArray], nodes: Nodes, level: float, *, note: str, method: str
) -> ShrunkRates:
    """Average the gamma posteriors of all nodes, group by group."""
    (n, exposure), (shapes, rates, means, weights) = data, nodes
    first, second = np.zeros(n.shape), np.zeros(n.shape)
    with np.errstate(divide="ignore"):
        for shape, rate, weight in zip(shapes, rates, weights, strict=True):
            mean = (n + shape) / (exposure + rate)
            first += weight * mean
            second += weight * mean * (mean + 1.0 / (exposure + rate))
    known = (exposure > 0) | bool((rates > 0).all())
    low = np.exp(by_cell(n, exposure, partial(log_mixture_quantile, nodes=nodes, p=(1.0 - level) / 2.0)))
    high = np.exp(by_cell(n, exposure, partial(log_mixture_quantile, nodes=nodes, p=(1.0 + level) / 2.0)))
    pooled = not note
    return ShrunkRates(
        counts=n,
        exposures=exposure,
        mean=np.where(known, first, np.nan),
        sd=np.where(known, np.sqrt(np.maximum(second - np.where(known, first, 0.0) ** 2, 0.0)), np.nan),
        low=np.where(known, low, np.nan),
        high=np.where(known, high, np.nan),
        level=level,
        mean_rate=float(weights @ means),
        spread=float(weights @ (1.0 / np.sqrt(shapes))) if pooled else math.nan,
        pooled=pooled,
        note=note,
        method=method,
        shapes=shapes,
        rates=rates,
        means=means,
        weights=weights,
    )
