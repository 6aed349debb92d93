"""What do a component's other groups say of this one? A prior for each group from all the others.

Groups (families, types, lots) wear out much alike and last more or less alike: log scale and log shape of each are
taken as drawn from one normal law whose mean and spread all groups together tell. A group's own prior is what the
others, and they alone, then predict for it; its own lives enter once, through its likelihood. Where groups differ, the
spread found is wide and each stands nearly alone; where they agree, small groups borrow the shape from the large.
Each group's likelihood is taken as normal here, around its own best fit; the spread is averaged over a lattice, so that
it isn't taken for known where groups are few.
Sources: A. Gelman et al., Bayesian Data Analysis (3rd ed. 2013), chapter 5, hierarchical models (from memory); half-
normal spreads: A. Gelman, Bayesian Analysis 1 (2006) (from memory). Checked in tests/studies/groups_study.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fleet.analysis.life_chosen import ChosenLives
from fleet.analysis.life_fit import LawFit, Likelihood, Prior, fit_law, matching_point, starting_point
from fleet.analysis.life_laws import LAWS, WEIBULL, Law
from fleet.analysis.life_priors import FEWEST_WITHOUT_PRIOR, life_prior
from fleet.analysis.poisson import FloatArray
from fleet.analysis.renewal_age import JoinedLikelihood

SCALE_SPREAD, SHAPE_SPREAD = 0.4, 0.15
"""Half-normal scales of how far groups differ in log scale and log shape (our own choice): lives by half as much again
are usual between groups, shapes differ by a seventh."""

OTHER_GROUPS = "from the component's other groups"
"""How a prior that other groups gave begins when it is said aloud."""

_SCALE_GRID = np.array([0.02, 0.06, 0.12, 0.2, 0.3, 0.42, 0.56, 0.75, 1.0, 1.4])
_SHAPE_GRID = np.array([0.01, 0.05, 0.1, 0.16, 0.24, 0.35, 0.55])
_AROUND = (1.0, 0.7)
"""Standard deviations of the loose prior that keeps a sparse group's best fit within reach while it is measured."""

_VAGUE = 4.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Measured:
    """A group's log-likelihood as b'theta - theta'P theta / 2."""

    precision: FloatArray
    pull: FloatArray


def pool_groups(groups: Sequence[ChosenLives], component: str) -> list[dict[str, Prior]] | None:
    """Return what each group's others predict for it; None where fewer than two have any failure.

    Parameters
    ----------
    groups : sequence of ChosenLives
        All groups of one component.
    component : str
        Names the weak prior of the common mean, used where all groups together have few failures.

    Returns
    -------
    list of dict, or None
        By group, the law's name -> prior.
    """
    told = [nth for nth, group in enumerate(groups) if group.events > 0]
    if len(told) < 2:
        return None
    events = sum(groups[nth].events for nth in told)
    every = JoinedLikelihood(parts=tuple(groups[nth].likelihood for nth in told))
    priors: list[dict[str, Prior]] = [{} for _ in groups]
    common: LawFit | None = None
    for law in LAWS:
        weak = life_prior(component, law)
        start = matching_point(law, common) if common else _start(groups, events)
        fit = fit_law(law, every, start, prior=weak if events < FEWEST_WITHOUT_PRIOR else None)
        if fit.trouble:
            fit = fit_law(law, every, weak.center, prior=weak)
        if fit.trouble:
            continue
        common = common or fit
        mean = weak if events < FEWEST_WITHOUT_PRIOR else _prior(fit.theta, np.diag([_VAGUE**2, _VAGUE**2]))
        measured = [_measure(law, group.likelihood, fit.theta) for group in groups]
        for own, prior in zip(priors, _predict_each(measured, mean), strict=True):
            own[law.name] = prior
    return priors if WEIBULL.name in priors[0] else None


def describe_pooled(prior: Prior) -> str:
    """Say in a clause what a Weibull prior from other groups takes for granted."""
    shape, narrow = math.exp(prior.log_shape), math.exp(2.0 * prior.log_shape_sd)
    theta = prior.center
    years = WEIBULL.quantile(theta, 0.5)
    slope = WEIBULL.standard_quantile(0.5) * math.exp(-prior.log_shape)
    # the log median is log scale + z / shape: its spread by the two logs and their correlation
    along = np.array([1.0, -slope])
    wide = math.exp(2.0 * math.sqrt(float(along @ np.linalg.inv(prior.precision) @ along)))
    return (
        f"{OTHER_GROUPS}: Weibull shape about {shape:.2g} ({shape / narrow:.2g} to "
        f"{shape * narrow:.2g}), median life about {years:.2g} years ({years / wide:.2g} to {years * wide:.2g})"
    )


def _start(groups: Sequence[ChosenLives], events: int) -> FloatArray:
    return starting_point(WEIBULL, events, sum(group.years for group in groups))


def _measure(law: Law, likelihood: Likelihood, common: FloatArray) -> _Measured:
    """Take a group's log-likelihood as a quadratic at its best fit near the common one."""
    loose = _prior(common, np.diag(np.square(_AROUND)))
    fit = fit_law(law, likelihood, common, prior=loose)
    _, slope, hessian = likelihood.expand(law, fit.theta)
    values, vectors = np.linalg.eigh(-hessian)
    # a direction the lives say nothing of, or bend the wrong way in, carries no weight
    precision = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return _Measured(precision=precision, pull=precision @ fit.theta + slope)


def _predict_each(groups: Sequence[_Measured], mean: Prior) -> list[Prior]:
    """Return each group's prior from the others, averaged over how far groups may differ."""
    precision = np.array([group.precision for group in groups])
    pull = np.array([group.pull for group in groups])
    weights, centers, spreads = [], [], []
    for scale in _SCALE_GRID:
        for shape in _SHAPE_GRID:
            spread = np.diag([scale**2, shape**2])
            log_weight, center, cover = _given_spread(precision, pull, spread, mean)
            log_prior = -0.5 * ((scale / SCALE_SPREAD) ** 2 + (shape / SHAPE_SPREAD) ** 2)
            weights.append(log_weight + log_prior)
            centers.append(center)
            spreads.append(cover)
    cells = np.outer(np.gradient(_SCALE_GRID), np.gradient(_SHAPE_GRID)).ravel()
    weight = np.exp(np.array(weights) - max(weights)) * cells
    weight = weight / weight.sum()
    middle = np.einsum("t,tgi->gi", weight, np.array(centers))
    away = np.array(centers) - middle
    cover = np.einsum("t,tgij->gij", weight, np.array(spreads) + away[..., :, None] * away[..., None, :])
    return [_prior(center, one) for center, one in zip(middle, cover, strict=True)]


def _given_spread(
    precision: FloatArray, pull: FloatArray, spread: FloatArray, mean: Prior
) -> tuple[float, FloatArray, FloatArray]:
    """Return, the spread given, its log evidence, and each group's predicted mean and covariance from the others."""
    # a group's likelihood of the common mean: precision (P^-1 + spread)^-1, without inverting a singular P
    mixing = np.linalg.inv(np.eye(2) + precision @ spread)
    of_mean, pull_mean = mixing @ precision, np.einsum("gij,gj->gi", mixing, pull)
    total, total_pull = of_mean.sum(axis=0) + mean.precision, pull_mean.sum(axis=0) + mean.precision @ mean.center
    fitted = 0.5 * np.einsum("gi,ij,gj->", pull, spread, pull_mean)
    evidence = (
        fitted
        + 0.5 * float(np.linalg.slogdet(mixing)[1].sum())
        + 0.5 * float(total_pull @ np.linalg.solve(total, total_pull))
        - 0.5 * float(np.linalg.slogdet(total)[1])
    )
    rest = np.linalg.inv(total - of_mean)
    center = np.einsum("gij,gj->gi", rest, total_pull - pull_mean)
    return float(evidence), center, rest + spread


def _prior(center: FloatArray, cover: FloatArray) -> Prior:
    sd = np.sqrt(np.diag(cover))
    return Prior(
        log_scale=float(center[0]),
        log_scale_sd=float(sd[0]),
        log_shape=float(center[1]),
        log_shape_sd=float(sd[1]),
        correlation=float(cover[0, 1] / (sd[0] * sd[1])),
    )
