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
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PooledGroup:
    """What a component's other groups say of one: by law, a prior, and where to begin the group's own fit."""

    priors: dict[str, Prior] = field(default_factory=dict)
    starts: dict[str, FloatArray] = field(default_factory=dict)


def pool_groups(
    groups: Sequence[ChosenLives], component: str, near: Sequence[Mapping[str, FloatArray]] | None = None
) -> list[PooledGroup] | None:
    """Return what each group's others predict for it; None where fewer than two have any failure.

    Parameters
    ----------
    groups : sequence of ChosenLives
        All groups of one component.
    component : str
        Names the weak prior of the common mean, used where all groups together have few failures.
    near : sequence of mapping, optional
        By group, the law's name -> (log scale, log shape) near its best fit: a shorter way, not another answer.
    """
    told = [nth for nth, group in enumerate(groups) if group.events > 0]
    if len(told) < 2:
        return None
    events = sum(groups[nth].events for nth in told)
    every = JoinedLikelihood(parts=tuple(groups[nth].likelihood for nth in told))
    pooled = [PooledGroup() for _ in groups]
    common: LawFit | None = None
    for law in LAWS:
        weak = life_prior(component, law)
        begin = [one[law.name] for one in near or () if law.name in one]
        starts = [np.mean(begin, axis=0)] if begin else []
        starts.append(matching_point(law, common) if common else _start(groups, events))
        fit = _fit_common(law, every, starts, weak, needed=events < FEWEST_WITHOUT_PRIOR)
        if fit.trouble:
            continue
        common = common or fit
        mean = weak if events < FEWEST_WITHOUT_PRIOR else _prior(fit.theta, np.diag([_VAGUE**2, _VAGUE**2]))
        nearby = [one.get(law.name, fit.theta) for one in near] if near else [fit.theta] * len(groups)
        own = [_fit_near(law, group.likelihood, fit.theta, at) for group, at in zip(groups, nearby, strict=True)]
        measured = [_measure(law, group.likelihood, at) for group, at in zip(groups, own, strict=True)]
        for one, at, prior in zip(pooled, own, _predict_each(measured, mean), strict=True):
            one.priors[law.name], one.starts[law.name] = prior, at
    return pooled if WEIBULL.name in pooled[0].priors else None


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


def _fit_common(law: Law, every: Likelihood, starts: Sequence[FloatArray], weak: Prior, *, needed: bool) -> LawFit:
    """Fit one law to all groups' lives from the first start that does; with the weak prior where needed or at last."""
    for start in starts:
        fit = fit_law(law, every, start, prior=weak if needed else None)
        if not fit.trouble:
            return fit
    return fit_law(law, every, weak.center, prior=weak)


def _fit_near(law: Law, likelihood: Likelihood, common: FloatArray, start: FloatArray) -> FloatArray:
    """Return a group's best fit near the common one."""
    return fit_law(law, likelihood, start, prior=_prior(common, np.diag(np.square(_AROUND)))).theta


def _measure(law: Law, likelihood: Likelihood, theta: FloatArray) -> _Measured:
    """Take a group's log-likelihood as a quadratic around a point."""
    _, slope, hessian = likelihood.expand(law, theta)
    values, vectors = np.linalg.eigh(-hessian)
    # a direction the lives say nothing of, or bend the wrong way in, carries no weight
    precision = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return _Measured(precision=precision, pull=precision @ theta + slope)


def _predict_each(groups: Sequence[_Measured], mean: Prior) -> list[Prior]:
    """Return each group's prior from the others, averaged over how far groups may differ."""
    precision = np.array([group.precision for group in groups])
    pull = np.array([group.pull for group in groups])
    scale, shape = (spread.ravel() for spread in np.meshgrid(_SCALE_GRID, _SHAPE_GRID, indexing="ij"))
    spreads = np.zeros((scale.size, 2, 2))
    spreads[:, 0, 0], spreads[:, 1, 1] = scale**2, shape**2
    evidence, center, cover = _given_spread(precision, pull, spreads, mean)
    weights = evidence - 0.5 * ((scale / SCALE_SPREAD) ** 2 + (shape / SHAPE_SPREAD) ** 2)
    cells = np.outer(np.gradient(_SCALE_GRID), np.gradient(_SHAPE_GRID)).ravel()
    weight = np.exp(weights - weights.max()) * cells
    weight = weight / weight.sum()
    middle = np.einsum("t,tgi->gi", weight, center)
    away = center - middle
    mixed = np.einsum("t,tgij->gij", weight, cover + away[..., :, None] * away[..., None, :])
    return [_prior(one, around) for one, around in zip(middle, mixed, strict=True)]


def _given_spread(
    precision: FloatArray, pull: FloatArray, spread: FloatArray, mean: Prior
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return for each given spread (t, 2, 2) its log evidence (t) and each group's prediction from the others.

    These are a mean (t, groups, 2) and a covariance (t, groups, 2, 2).
    """
    # a group's likelihood of the common mean: precision (P^-1 + spread)^-1, without inverting a singular P
    mixing = np.linalg.inv(np.eye(2) + precision @ spread[:, None])
    of_mean, pull_mean = mixing @ precision, np.einsum("tgij,gj->tgi", mixing, pull)
    total, total_pull = of_mean.sum(axis=1) + mean.precision, pull_mean.sum(axis=1) + mean.precision @ mean.center
    fitted = 0.5 * np.einsum("gi,tij,tgj->t", pull, spread, pull_mean)
    toward = np.linalg.solve(total, total_pull[..., None])[..., 0]
    evidence = (
        fitted
        + 0.5 * np.linalg.slogdet(mixing)[1].sum(axis=1)
        + 0.5 * (total_pull * toward).sum(axis=1)
        - 0.5 * np.linalg.slogdet(total)[1]
    )
    rest = np.linalg.inv(total[:, None] - of_mean)
    center = np.einsum("tgij,tgj->tgi", rest, total_pull[:, None] - pull_mean)
    return evidence, center, rest + spread[:, None]


def _prior(center: FloatArray, cover: FloatArray) -> Prior:
    sd = np.sqrt(np.diag(cover))
    return Prior(
        log_scale=float(center[0]),
        log_scale_sd=float(sd[0]),
        log_shape=float(center[1]),
        log_shape_sd=float(sd[1]),
        correlation=float(cover[0, 1] / (sd[0] * sd[1])),
    )
