"""Do groups differ once age, season, building and the rest of the equipment are allowed for?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fleet.analysis.poisson_regression import PoissonFit, design_matrix, fit_poisson
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR
from fleet.store.schema import GROUPING_COLUMNS, quote_identifier

NUISANCE_SD = 1.0
"""Prior standard deviation of the log ratios of what is adjusted for: weak, and it settles ties between columns that
say the same (a family that comes with one compressor type only)."""

GROUP_SD = 3.0
"""Nearly flat: keeps a group without a failure finite."""

MOST_UNITS = 20_000
"""Above this many units the regression runs on cells of like units, without unit-clustered errors."""

COVARIATES = {
    "compressor_type": "coalesce(u.compressor_type, 'unknown')",
    "model_family": "coalesce(u.model_family, 'unknown')",
    "building": "concat_ws('/', u.property, u.building)",
    "property": "u.property",
}
"""What is adjusted for besides age and season; two properties may both have a building 1."""

DRAWS = 2_000

FEWEST_FAILURES = 10
"""With fewer failures of a component nothing is adjusted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AdjustedRatio:
    """A group's rate over that of the units outside it, everything else alike."""

    ratio: float
    low: float
    high: float


def adjusted_ratios(
    histories: Histories,
    by: tuple[str, ...],
    components: Sequence[str],
    *,
    against: str | None,
    level: float,
    weigh: Callable[[Histories], None] | None = None,
) -> dict[tuple[str, int], AdjustedRatio]:
    """Return the adjusted ratio of each (component, group number), groups sorted as in the rates table.

    Component blank is all of them together. ``weigh`` may weigh the cells' days anew (by heat) before they are read.

    Notes
    -----
    Poisson regression of failures on the grouping, with log time at risk as offset and unit age, season, building,
    compressor type and model family as weakly held covariates; unit-clustered covariance. A group is compared with
    the average of the others weighted by their time at risk; intervals from draws of the fitted law (seeded).
    Needs at least FEWEST_FAILURES failures of the component; else nothing is returned for it.
    """
    histories.database.run_file("fleet.analysis", "rate_cells")
    if weigh is not None:
        weigh(histories)
    cells, by_unit = _cells(histories, by)
    keys = pd.MultiIndex.from_frame(cells[[f"by_{name}" for name in by]])
    codes, groups = pd.factorize(keys, sort=True)
    if len(groups) < 2:
        return {}
    frame = cells.assign(group=[f"{code:06d}" for code in codes])
    failures = _failures(histories, cells, by_unit)
    found: dict[tuple[str, int], AdjustedRatio] = {}
    target = next((i for i, key in enumerate(groups) if str(key[0]) == against), None) if against else None
    for component in components:
        counts = failures.get(component)
        if counts is None or counts.sum() < FEWEST_FAILURES:
            continue
        days = frame["kit_days" if component == "hard start" else "days"].to_numpy(float)
        fit = _fit(frame, counts, days / DAYS_PER_YEAR, by, by_unit=by_unit)
        weights = np.bincount(codes, weights=days, minlength=len(groups))
        for group, ratio in _contrasts(fit, len(groups), weights, target, level).items():
            found[component, group] = ratio
    return found


def _cells(histories: Histories, by: tuple[str, ...]) -> tuple[pd.DataFrame, bool]:
    by_unit = int(histories.database.value("select count(*) from history.unit")) <= MOST_UNITS
    grouping = [name for name in by if name != "age_band"]
    select = ["c.age_band", "c.season"]
    select += [f"{COVARIATES[name]} as {name}" for name in _covariates(by)]
    select += [f"{_text_of(name)} as by_{name}" for name in grouping]
    select += ["c.age_band as by_age_band"] if "age_band" in by else []
    unit = "c.unit_id" if by_unit else "0 as unit_id"
    frame = histories.database.frame(
        f"select {unit}, {', '.join(select)}, sum(c.days)::double as days, "  # noqa: S608
        "sum(c.kit_days)::double as kit_days from history.rate_cell as c join history.unit as u using (unit_id) "
        "group by all order by all"
    )
    return frame, by_unit


def _text_of(column: str) -> str:
    return f"coalesce(u.{quote_identifier(column, GROUPING_COLUMNS)}::varchar, 'unknown')"


def _covariates(by: tuple[str, ...]) -> list[str]:
    """Return what is left to adjust for; a building tells its property, so only one of the two is."""
    place = [] if "property" in by else ["property"] if "building" in by else ["building"]
    return [name for name in ("compressor_type", "model_family", *place) if name not in by]


def _failures(histories: Histories, cells: pd.DataFrame, by_unit: bool) -> dict[str, np.ndarray]:
    keys = [name for name in cells.columns if name not in ("days", "kit_days")]
    columns = [name for name in keys if name not in ("unit_id", "age_band", "season")]
    written = {**COVARIATES, "by_age_band": "f.age_band"}
    select = [f"{written.get(name) or _text_of(name.removeprefix('by_'))} as {name}" for name in columns]
    unit = "f.unit_id" if by_unit else "0 as unit_id"
    counted = histories.database.frame(
        f"select component, {unit}, f.age_band, ((month(failed_on) % 12) // 3)::integer as season, "  # noqa: S608
        f"{', '.join(select) + ', ' if select else ''}count(*) as n "
        "from history.rate_failure as f join history.unit as u using (unit_id) group by all"
    )
    index = pd.MultiIndex.from_frame(cells[keys])
    found = {
        str(component): part.set_index(keys)["n"].reindex(index, fill_value=0).to_numpy(float)
        for component, part in counted.groupby("component")
    }
    return {**found, "": sum(found.values(), np.zeros(len(index)))}


def _fit(
    frame: pd.DataFrame, counts: np.ndarray, years: np.ndarray, by: tuple[str, ...], *, by_unit: bool
) -> PoissonFit:
    used = ["season", *_covariates(by), *([] if "age_band" in by else ["age_band"])]
    design = design_matrix(frame.astype({"season": str}), ["group", *used], baselines={"group": "000000"})
    sd = np.array([GROUP_SD if name.startswith("group=") else NUISANCE_SD for name in design.names])
    sd[0] = np.inf
    return fit_poisson(
        design, counts, exposure=years, prior_sd=sd, clusters=frame["unit_id"].to_numpy() if by_unit else None
    )


def _contrasts(
    fit: PoissonFit, n_groups: int, weights: np.ndarray, target: int | None, level: float
) -> dict[int, AdjustedRatio]:
    positions = [fit.names.index(f"group={g:06d}") if f"group={g:06d}" in fit.names else -1 for g in range(n_groups)]
    named = [p for p in positions if p >= 0]
    covariance = fit.covariance[np.ix_(named, named)]
    if fit.robust_covariance is not None:
        robust = fit.robust_covariance[np.ix_(named, named)]
        # units that differ widen an interval, they never narrow it
        covariance = covariance * max(1.0, float(np.median(np.diag(robust) / np.diag(covariance))))
    rng = np.random.default_rng(20260401)
    drawn = rng.multivariate_normal(fit.coefficients[named], covariance, size=DRAWS, method="cholesky")
    log_rates = np.zeros((DRAWS + 1, n_groups))
    for column, position in enumerate(named):
        group = positions.index(position)
        log_rates[0, group] = fit.coefficients[position]
        log_rates[1:, group] = drawn[:, column]
    rates = np.exp(log_rates)
    found = {}
    for group in range(n_groups):
        others = weights * ((np.arange(n_groups) != group) if target is None else (np.arange(n_groups) == target))
        if group == target or weights[group] <= 0 or others.sum() <= 0:
            continue
        ratio = rates[:, group] / (rates @ others / others.sum())
        low, high = np.quantile(ratio[1:], [0.5 - level / 2, 0.5 + level / 2])
        found[group] = AdjustedRatio(ratio=float(ratio[0]), low=float(low), high=float(high))
    return found
