"""How much more fails in a hot summer, and which summers may come?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

FloatArray = npt.NDArray[np.float64]
Summer = Literal["any", "hot", "normal", "mild"]
SUMMERS: tuple[Summer, ...] = ("any", "hot", "normal", "mild")

ELASTICITY_MEAN, ELASTICITY_SD = 0.8, 0.4
"""Prior of the heat elasticity: a summer 10 % hotter brings about 8 % more failures. Fewer than eight summers can't say
it alone, so the prior does real work; it is this project's own, from simulation."""

YEAR_SD_SCALE = 0.15
"""Scale of the half-normal prior of a year's own luck (standard deviation of the log)."""

FEW_YEARS = 5
"""Below this many weather years a stated spread stands in for the record."""

WEATHER_SD = 0.15
"""That spread: standard deviation of the log of a summer's degree days."""

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)


@dataclass(frozen=True, slots=True, kw_only=True)
class SummerDraws:
    """Drawn summers, shared by all buildings and parts: how each multiplies failures.

    ``factor`` has one entry a draw, weather and the year's own luck together; ``elasticity`` and ``year_sd`` are
    posterior means; ``notes`` say what the weather rests on.
    """

    factor: FloatArray
    elasticity: float
    year_sd: float
    past_factor: dict[int, float]
    notes: tuple[str, ...]


def draw_summers(
    rng: np.random.Generator,
    draws: int,
    *,
    counts: pd.Series,
    expected: pd.Series,
    heat: pd.Series,
    summer: Summer = "any",
) -> SummerDraws:
    """Learn the heat response from past summers and draw the next one.

    Parameters
    ----------
    counts, expected : Series by years back
        Failures of each past season, and those expected of an average one from the parts then at risk.
    heat : Series by years back
        Degree days of the season for every weather year on record (more than the log's years, as a rule).
    summer : {"any", "hot", "normal", "mild"}
        Draw from all years, or from the hottest, middle or coolest third.

    Notes
    -----
    N_y ~ Poisson(a E_y (H_y / mean H)^g exp(v_y)), v_y ~ N(0, t^2), with priors on g and t, on a grid; a is profiled
    out. The weather year is drawn whole, so every building and part sees the same summer.
    """
    usable = heat[heat > 0]
    log_heat = np.log(usable / usable.mean()) if len(usable) else pd.Series(dtype=float)
    grid, weight = _posterior(counts, expected, log_heat)
    pick = rng.choice(len(grid), size=draws, p=weight)
    elasticity, year_sd = grid[pick, 0], grid[pick, 1]
    weather, notes = _draw_weather(rng, draws, log_heat, summer)
    luck = rng.normal(0, 1, draws) * year_sd - year_sd**2 / 2
    mean_elasticity = float(weight @ grid[:, 0])
    past = {int(y): float(np.exp(mean_elasticity * log_heat.get(y, 0.0))) for y in counts.index}
    return SummerDraws(
        factor=np.exp(elasticity * weather + luck),
        elasticity=mean_elasticity,
        year_sd=float(weight @ grid[:, 1]),
        past_factor=past,
        notes=notes,
    )


def draw_years(rng: np.random.Generator, draws: int, *, counts: pd.Series, expected: pd.Series) -> FloatArray:
    """Draw how a coming year multiplies what isn't driven by heat (rounds, weak parts found)."""
    grid, weight = _posterior(counts, expected, pd.Series(dtype=float))
    year_sd = grid[rng.choice(len(grid), size=draws, p=weight), 1]
    factor: FloatArray = np.exp(rng.normal(0, 1, draws) * year_sd - year_sd**2 / 2)
    return factor


def _posterior(counts: pd.Series, expected: pd.Series, log_heat: pd.Series) -> tuple[FloatArray, FloatArray]:
    """Return a grid of (elasticity, year sd) and its weights."""
    elasticities = np.linspace(ELASTICITY_MEAN - 3 * ELASTICITY_SD, ELASTICITY_MEAN + 3 * ELASTICITY_SD, 25)
    year_sds = np.linspace(0.01, 0.60, 16)
    grid = np.array([(g, t) for g in elasticities for t in year_sds])
    years = [y for y in counts.index if expected.get(y, 0) > 0]
    n = counts.reindex(years).to_numpy(float)
    e = expected.reindex(years).to_numpy(float)
    x = np.array([log_heat.get(y, 0.0) for y in years])
    log_posterior = (
        -0.5 * ((grid[:, 0] - ELASTICITY_MEAN) / ELASTICITY_SD) ** 2 - 0.5 * (grid[:, 1] / YEAR_SD_SCALE) ** 2
    )
    if len(years) >= 2:
        mean = e[None, :] * np.exp(grid[:, :1] * x[None, :])
        mean *= n.sum() / mean.sum(axis=1, keepdims=True)
        # the year's luck is integrated out by Gauss-Hermite quadrature: grid x years x nodes
        sd = grid[:, 1][:, None, None]
        log_mean = np.log(mean)[:, :, None] + sd * _NODES[None, None, :] - sd**2 / 2
        terms = n[None, :, None] * log_mean - np.exp(log_mean) - special.gammaln(n + 1)[None, :, None]
        log_posterior += special.logsumexp(terms, axis=2, b=_WEIGHTS / _WEIGHTS.sum()).sum(axis=1)
    weight = np.exp(log_posterior - log_posterior.max())
    return grid, weight / weight.sum()


def _draw_weather(
    rng: np.random.Generator, draws: int, log_heat: pd.Series, summer: Summer
) -> tuple[FloatArray, tuple[str, ...]]:
    """Draw the log of the coming season's degree days over their mean."""
    if len(log_heat) < FEW_YEARS:
        weather = rng.normal(0, WEATHER_SD, draws)
        if summer != "any":
            middle = np.quantile(weather, {"hot": [2 / 3, 1], "normal": [1 / 3, 2 / 3], "mild": [0, 1 / 3]}[summer])
            inside = weather[(weather >= middle[0]) & (weather <= middle[1])]
            weather = rng.choice(inside, draws)
        said = (
            f"Only {len(log_heat)} weather years on record: summers spread as a stated prior, "
            f"{WEATHER_SD:.0%} about the usual heat."
        )
        return weather, (said,)
    ordered = np.sort(log_heat.to_numpy(float))
    third = len(ordered) / 3
    chosen = {
        "any": ordered,
        "mild": ordered[: max(round(third), 1)],
        "normal": ordered[round(third) : max(round(2 * third), round(third) + 1)],
        "hot": ordered[len(ordered) - max(round(third), 1) :],
    }[summer]
    which = "" if summer == "any" else f", the {len(chosen)} {summer} ones only"
    return rng.choice(chosen, draws), (f"Summers are drawn whole from {len(ordered)} weather years on record{which}.",)
