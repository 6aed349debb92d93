"""How often a part of each kind and age is fitted in a season, with its uncertainty, from past seasons."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.analysis.poisson_regression import PoissonFit, design_matrix, fit_poisson
from fleet.analysis.shrinkage import shrink_rates

FloatArray = npt.NDArray[np.float64]

KIND = ["model_family", "compressor_type", "state"]
PRIOR_SD = {"model_family": 0.5, "compressor_type": 0.3, "state": 0.6}
"""How far kinds may differ (standard deviation of the log rate) before the data have spoken."""

ENOUGH = 5
"""With fewer parts fitted than this, all units of a component share one rate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IntensityDraws:
    """Drawn rates: ``by_kind`` (draws, kinds) a day, ``by_building`` (draws, buildings) as a factor around one."""

    by_kind: FloatArray
    by_building: FloatArray
    n_events: int


def draw_intensity(
    rng: np.random.Generator,
    draws: int,
    *,
    risk: pd.DataFrame,
    fits: pd.DataFrame,
    kinds: pd.DataFrame,
    buildings: pd.DataFrame,
) -> IntensityDraws:
    """Draw fitting rates of one component for one reason.

    Parameters
    ----------
    risk : DataFrame
        Days at risk by KIND, property, building and season; ``weight`` multiplies them by the season's heat.
    fits : DataFrame
        One row a fitting, with KIND, property and building.
    kinds, buildings : DataFrame
        The kinds (KIND columns) and buildings (property, building) the rates are wanted for.

    Notes
    -----
    Ridge Poisson regression on kind; the level of all kinds together is drawn from its exact gamma law, so that the
    mean is not biased where few were fitted. Buildings are gamma-Poisson shrunk around what their kinds lead one to
    expect.
    """
    n = len(fits)
    weighted = risk.assign(days=risk["days"] * risk["weight"])
    cells = weighted.groupby(KIND, as_index=False)["days"].sum()
    cells = cells[cells["days"] > 0].reset_index(drop=True)
    counts = np.asarray(fits.groupby(KIND).size().reindex(pd.MultiIndex.from_frame(cells[KIND]), fill_value=0), float)
    level = rng.gamma(max(n, 0.5), 1.0, draws)
    if n < ENOUGH or len(cells) < 2:
        rate = level / max(cells["days"].sum(), 1.0)
        return IntensityDraws(
            by_kind=np.repeat(rate[:, None], len(kinds), axis=1),
            by_building=np.ones((draws, len(buildings))),
            n_events=n,
        )
    log_cells, log_kinds = _log_rates(rng, draws, cells, counts, kinds)
    total = np.exp(log_cells) @ cells["days"].to_numpy(float)
    scale = level / total
    fitted = np.exp(log_cells.mean(axis=0))
    fitted *= n / float(fitted @ cells["days"].to_numpy(float))
    factors = _building_factors(rng, draws, weighted, fits, cells.assign(rate=fitted), buildings)
    return IntensityDraws(by_kind=np.exp(log_kinds) * scale[:, None], by_building=factors, n_events=n)


def _log_rates(
    rng: np.random.Generator, draws: int, cells: pd.DataFrame, counts: FloatArray, kinds: pd.DataFrame
) -> tuple[FloatArray, FloatArray]:
    """Return drawn log rates of the past cells and of the kinds wanted, up to a common level."""
    both = pd.concat([cells[KIND], kinds[KIND]], ignore_index=True)
    design = design_matrix(both, KIND)
    sd = np.array([np.inf] + [PRIOR_SD[name.split("=")[0]] for name in design.names[1:]])
    fit: PoissonFit = fit_poisson(
        design.matrix[: len(cells)], counts, exposure=cells["days"].to_numpy(float), prior_sd=sd
    )
    beta = rng.multivariate_normal(fit.coefficients, fit.covariance, size=draws, method="cholesky")
    rates = beta @ design.matrix.T
    return rates[:, : len(cells)], rates[:, len(cells) :]


def _building_factors(
    rng: np.random.Generator,
    draws: int,
    risk: pd.DataFrame,
    fits: pd.DataFrame,
    cells: pd.DataFrame,
    buildings: pd.DataFrame,
) -> FloatArray:
    key = ["property", "building"]
    priced = risk.merge(cells[[*KIND, "rate"]], on=KIND, how="left")
    expected = priced.assign(mean=priced["days"] * priced["rate"].fillna(0)).groupby(key)["mean"].sum()
    index = pd.MultiIndex.from_frame(buildings[key])
    e = expected.reindex(index, fill_value=0.0).to_numpy(float)
    seen = fits.groupby(key).size().reindex(index, fill_value=0).to_numpy(float)
    if len(index) < 3 or e.sum() <= 0:
        return np.ones((draws, len(index)))
    drawn = shrink_rates(seen, e).posterior_draws(rng, draws)
    drawn = np.where(np.isnan(drawn), 1.0, drawn)
    # only how buildings differ is wanted here: the common level is drawn with the kinds
    common: FloatArray = drawn @ e / e.sum()
    return drawn / common[:, None]
