"""Whose lives, estimated how: the groups of one component, and the same estimate for every answer that shows them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

import pandas as pd

from fleet.analysis.life_chosen import BIRTHS, ChosenLives, choose_lives
from fleet.analysis.life_data import ENDINGS, LOOK_AHEAD_YEARS, PART_COLUMNS, Lives, coded_lives, lives_of
from fleet.analysis.life_estimate import (
    LifeEstimate,
    averaged_b10,
    estimate_chosen,
    estimate_lives,
    fit_chosen,
    shared_weights,
)
from fleet.analysis.life_fit import LawFit, Prior
from fleet.analysis.life_pooling import pool_groups
from fleet.analysis.poisson import FloatArray, check_level
from fleet.errors import AnalysisError
from fleet.settings import LEVEL

POOLING = ("partial", "none")
"""Whether groups of a component lean on each other, as far as they are alike; or each stands alone."""


INTERVALS = ("likelihood", "bootstrap")
"""What intervals come from: the likelihood ratio; or refits under random weights of units (Xu et al. 2020), which
allow for units that differ."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeQuestion:
    """What is asked of lives; see `fleet.analysis.life.estimate_life`.

    Raises
    ------
    AnalysisError
        If ``ending``, ``births`` or ``pooling`` names nothing known, or a number lies outside what it may be.
    """

    by: tuple[str, ...] = ()
    level: float = LEVEL
    ending: str = ENDINGS[0]
    births: str = BIRTHS[0]
    look_ahead_years: float = LOOK_AHEAD_YEARS
    pooling: str = POOLING[0]
    interval: str = INTERVALS[0]
    seed: int = 0

    def __post_init__(self) -> None:
        """Hold each word to those known; parts grouped by their own columns must have been fitted in the log."""
        check_level(self.level)
        for name, known in (("ending", ENDINGS), ("births", BIRTHS), ("pooling", POOLING), ("interval", INTERVALS)):
            value = getattr(self, name)
            if value not in known:
                more = ", or all" if name == "ending" else ""
                msg = f"{name} = {value!r} is not known; choose one of {', '.join(known)}{more}"
                raise AnalysisError(msg)
        object.__setattr__(self, "by", tuple(dict.fromkeys(self.by)))
        if set(self.by) & set(PART_COLUMNS):
            object.__setattr__(self, "births", BIRTHS[1])

    @property
    def drawn_by(self) -> int | None:
        """Return the seed of a bootstrap; None where intervals come from the likelihood."""
        return self.seed if self.interval == INTERVALS[1] else None

    @property
    def settings(self) -> dict[str, Any]:
        """Return what was asked, by name."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EstimatedGroup:
    """One group of a component's lives and what they allow to be said.

    Attributes
    ----------
    key : dict
        Each grouping column's value; empty without grouping columns.
    frame : pandas.DataFrame
        The group's rows of `fleet.analysis.life_data.coded_lives`.
    pooled : mapping of str to Prior, or None
        By law, what the component's other groups say of this one, where the estimate leans on them.
    """

    key: dict[str, str]
    frame: pd.DataFrame = field(repr=False)
    lives: Lives = field(repr=False)
    estimate: LifeEstimate
    pooled: Mapping[str, Prior] | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedGroups:
    """Every group of a component with its lives, its fits, and what is shared."""

    keys: list[dict[str, str]]
    frames: list[pd.DataFrame]
    lives: list[Lives]
    chosen: list[ChosenLives]
    fits: list[list[LawFit]]
    priors: list[Mapping[str, Prior] | None]
    weights: dict[str, float] | None


def groups_of(frame: pd.DataFrame, by: Sequence[str]) -> Iterator[tuple[dict[str, str], pd.DataFrame]]:
    """Yield each group's values by column, and its rows; everything together without columns."""
    if not by:
        yield {}, frame
        return
    for values, rows in frame.groupby([f"by_{name}" for name in by], sort=True, observed=True):
        yield dict(zip(by, map(str, values), strict=True)), rows


def estimate_groups(every: pd.DataFrame, component: str, asked: LifeQuestion) -> list[EstimatedGroup]:
    """Estimate each group of a component's lives, as the answers ``life`` and ``life curve`` both show it.

    Parameters
    ----------
    every : pandas.DataFrame
        The component's rows of `fleet.analysis.life_data.read_lives`.
    component : str
    asked : LifeQuestion
    """
    fitted = fit_groups(every, component, asked)
    made = []
    for nth, chosen in enumerate(fitted.chosen):
        lives, fits, priors = fitted.lives[nth], fitted.fits[nth], fitted.priors[nth]
        estimate = estimate_chosen(
            chosen, fits, component, level=asked.level, weights=fitted.weights, pooled=priors, seed=asked.drawn_by
        )
        if estimate.average is None and estimate.trouble and chosen.mixture is not None:
            estimate = estimate_lives(lives, component, level=asked.level, births=asked.births)
        key, frame = fitted.keys[nth], fitted.frames[nth]
        made.append(EstimatedGroup(key=key, frame=frame, lives=lives, estimate=estimate, pooled=priors))
    return made


def compare_b10(
    every: pd.DataFrame, component: str, asked: LifeQuestion, near: Sequence[EstimatedGroup] | None = None
) -> list[float]:
    """Return each group's averaged B10 alone, to compare ways of counting; not a number where nothing was fitted.

    ``near``: the same groups as estimated another way, whose fits are where the search begins.
    """
    starts = [_fitted_at(one.estimate) for one in near] if near else None
    fitted = fit_groups(every, component, asked, starts)
    return [averaged_b10(fits, fitted.weights) for fits in fitted.fits]


def _fitted_at(estimate: LifeEstimate) -> dict[str, FloatArray]:
    regions = estimate.average.regions if estimate.average else ()
    return {region.fit.law.name: region.fit.theta for region in regions}


def fit_groups(
    every: pd.DataFrame, component: str, asked: LifeQuestion, near: Sequence[Mapping[str, FloatArray]] | None = None
) -> FittedGroups:
    """Fit the laws to each group's lives, without any interval; ``near`` as for `compare_b10`, a mapping a group."""
    every = coded_lives(every)
    keys, frames = zip(*groups_of(every, asked.by), strict=True)
    lives = [
        lives_of(frame, ending=asked.ending, look_ahead_years=asked.look_ahead_years, like=every) for frame in frames
    ]
    chosen = [choose_lives(one, asked.births) for one in lives]
    lean = asked.pooling == POOLING[0] and len(chosen) > 1
    pool = pool_groups(chosen, component, near) if lean else None
    priors: list[Mapping[str, Prior] | None] = [one.priors for one in pool] if pool else [None] * len(chosen)
    starts = [one.starts for one in pool] if pool else near or [{}] * len(chosen)
    fits = [
        fit_chosen(one, component, prior, near=start) for one, prior, start in zip(chosen, priors, starts, strict=True)
    ]
    return FittedGroups(
        keys=list(keys),
        frames=list(frames),
        lives=lives,
        chosen=chosen,
        fits=fits,
        priors=priors,
        weights=shared_weights(fits) if pool else None,
    )
