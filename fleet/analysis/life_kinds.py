"""What if unlike kinds of units are taken together? Their fitted curves weighed by units, instead of one law for all.

Kinds whose parts last less long begin more of the lives a log sees, and a mixture of laws is none of them: one law for
all reads B10 some 3 % short where kinds' lives differ by a third, and its interval is too sure. What is wanted is the
age by which a share has failed of parts in units taken at random: the kinds' survival curves, weighed by their units.
Estimate and limits of the one law are moved there by a common factor; its width is kept.
Source: our own choice. By simulation (24 fleets of 600 units): the 90 % interval of B10 holds in 91 instead of 82 % of
components, that of the median in 85 instead of 73 %; where kinds are alike nothing changes beyond chance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy import optimize

from fleet.analysis.life_average import law_weights
from fleet.analysis.life_fit import LawFit
from fleet.analysis.life_groups import EstimatedGroup, FittedGroups, LifeQuestion, fit_groups
from fleet.analysis.life_priors import FEWEST_WITHOUT_PRIOR
from fleet.analysis.poisson import FloatArray

KINDS = ("model_family", "compressor_type")
"""Columns by which units are told apart where an answer takes them together."""

SHARES = {"b10": 0.1, "median": 0.5}
"""The ages moved, by their column."""


def kinds_within(by: Sequence[str]) -> tuple[str, ...]:
    """Return the further columns that tell kinds apart within groups; none where groups aren't of kinds."""
    return tuple(name for name in KINDS if name not in by) if set(by) < set(KINDS) else ()


def kind_factors(
    every: pd.DataFrame, component: str, asked: LifeQuestion, groups: Sequence[EstimatedGroup]
) -> list[dict[str, float]]:
    """Say by what factor the ages of each group move when its kinds are weighed by their units.

    Parameters
    ----------
    every : pandas.DataFrame
        The component's rows of `fleet.analysis.life_data.read_lives`, read with `kinds_within` too.
    component : str
    asked : LifeQuestion
    groups : sequence of EstimatedGroup
        What `fleet.analysis.life_groups.estimate_groups` made of the same question.

    Returns
    -------
    list of dict
        By group, column (`SHARES`) -> factor, and ``kinds``, how many there are; empty where there is one kind only,
        or under 20 failures and weak removals.
    """
    more = kinds_within(asked.by)
    told = [one for one in groups if _holds_kinds(one)]
    if not more or not told:
        return [{} for _ in groups]
    fitted = fit_groups(every, component, replace(asked, by=(*asked.by, *more)))
    return [_factors(one, fitted) if _holds_kinds(one) else {} for one in groups]


def _holds_kinds(one: EstimatedGroup) -> bool:
    enough = one.estimate.failures + one.estimate.weak >= FEWEST_WITHOUT_PRIOR
    return one.estimate.average is not None and enough


def _factors(one: EstimatedGroup, fitted: FittedGroups) -> dict[str, float]:
    average = one.estimate.average
    mine = [nth for nth, key in enumerate(fitted.keys) if one.key.items() <= key.items()]
    if average is None or len(mine) < 2:
        return {}
    units = np.array([fitted.frames[nth]["unit_id"].nunique() for nth in mine], dtype=np.float64)

    def failed(log_age: float) -> float:
        age = np.array([math.exp(log_age)])
        # a kind with too few failures for a law of its own is taken to last as all together do
        alive = [
            float(_survival(fitted.fits[nth], fitted, age) if fitted.fits[nth] else average.survival(age)[0])
            for nth in mine
        ]
        return 1.0 - float(units @ np.array(alive)) / float(units.sum())

    found: dict[str, float] = {"kinds": float(len(mine))}
    for column, share in SHARES.items():
        now = average.quantile(share)
        gap = [failed(math.log(now) + way) - share for way in (-2.0, 2.0)]
        if gap[0] < 0.0 < gap[1]:
            log_age = optimize.brentq(lambda at, p: failed(at) - p, math.log(now) - 2.0, math.log(now) + 2.0, (share,))
            found[column] = math.exp(float(log_age)) / now
    return found


def _survival(fits: Sequence[LawFit], fitted: FittedGroups, age: FloatArray) -> float:
    return float(law_weights(fits, fitted.weights) @ np.array([fit.law.survival(fit.theta, age)[0] for fit in fits]))
