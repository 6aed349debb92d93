"""One estimate as rows of the answer ``life``: a row a law, the average first, and what must be said about it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import numpy as np

from fleet.analysis.life_average import AveragedLife
from fleet.analysis.life_chosen import BIRTHS
from fleet.analysis.life_data import Lives
from fleet.analysis.life_estimate import ASSUMED_SD, LifeEstimate
from fleet.analysis.life_fit import LawFit, Region
from fleet.analysis.life_groups import EstimatedGroup
from fleet.analysis.life_laws import WEIBULL
from fleet.analysis.life_pooling import describe_pooled
from fleet.analysis.life_priors import FEWEST_TO_FIT, assumed_band, describe_prior
from fleet.analysis.poisson import Interval
from fleet.analysis.product_limit import ProductLimit, product_limit
from fleet.errors import AnalysisError


def estimate_rows(one: EstimatedGroup, *, key: Mapping[str, str], level: float, mended: int) -> list[dict[str, Any]]:
    """Return the rows of one component, group and ending.

    Parameters
    ----------
    one : EstimatedGroup
    key : mapping
        Component, grouping values and ending.
    mended : int
        Failures of the component mended without a part, which no life can show.
    """
    lives, estimate = one.lives, one.estimate
    curve = known_curve(lives, level, estimate.births)
    notes = [estimate.trouble, *_about(lives, mended)]
    base = {
        **key,
        "spells": estimate.used,
        "failures": estimate.failures,
        "weak": estimate.weak,
        "part_years": estimate.years,
        "births": estimate.births,
        "prior": _prior(one, key["component"]),
    }
    if estimate.average is None:
        row = _bounded(estimate, key["component"])
        return [{**base, **_curve_cells(curve, None), **row, "note": _joined([row["note"], *notes[1:]])}]
    rows = [{**base, **_averaged(estimate, curve, notes, _oldest(lives, estimate.births))}]
    for region, weight in zip(estimate.average.regions, estimate.average.weights, strict=True):
        cells = {"model": region.fit.law.name, "weight": float(weight), **_law_cells(region)}
        rows.append({**base, **cells, **_curve_cells(curve, region), "note": ""})
    return rows


def _prior(one: EstimatedGroup, component: str) -> str:
    """Say the prior the estimate leans on, if any."""
    fit = one.estimate.assumed
    prior = one.estimate.prior or (fit.prior if fit is not None else None)
    if prior is None:
        return ""
    if one.pooled is not None and prior is one.pooled.get(WEIBULL.name):
        return describe_pooled(prior)
    return describe_prior(component) if fit is None else ""


def _law_cells(region: Region) -> dict[str, float]:
    return {
        **_with_limits("shape", region.fit.shape, region.shape()),
        **_with_limits("scale", region.fit.scale, region.scale()),
        **_with_limits("median", region.fit.quantile(0.5), region.quantile(0.5)),
        **_with_limits("b10", region.fit.quantile(0.1), region.quantile(0.1)),
    }


def _with_limits(name: str, value: float, limits: Interval | None) -> dict[str, float]:
    low, high = (limits.low, limits.high) if limits else (math.nan, math.nan)
    return {name: _finite(value), f"{name}_low": _finite(low), f"{name}_high": _finite(high)}


def _finite(value: float) -> float:
    return float(value) if math.isfinite(value) else math.nan


def _averaged(estimate: LifeEstimate, curve: ProductLimit | None, notes: list[str], oldest: float) -> dict[str, Any]:
    average, weibull = estimate.average, estimate.region(WEIBULL)
    if average is None or weibull is None:
        msg = "an average needs the Weibull among its laws"
        raise AnalysisError(msg)
    cells = _curve_cells(curve, weibull)
    if curve is not None:
        start, end = average.survival(np.array([curve.starts_at, curve.ends_at]))
        cells["fitted_survival"] = float(end / start)
    return {
        "model": "average",
        "weight": 1.0,
        **_law_cells(weibull),
        **_with_limits("median", average.quantile(0.5), average.interval(0.5)),
        **_with_limits("b10", average.quantile(0.1), average.interval(0.1)),
        "b10_least": average.spread(0.1)[0],
        "b10_greatest": average.spread(0.1)[1],
        **cells,
        "note": _joined([*notes, *_said(average, weibull.shape(), cells, oldest)]),
    }


def _said(average: AveragedLife, shape: Interval, cells: Mapping[str, float], oldest: float) -> Iterator[str]:
    """Say what the choice of the law changes, what is extrapolated, and where curve and laws part."""
    least, greatest = average.spread(0.1)
    best = average.regions[int(np.argmax(average.weights))].fit.law.name
    yield f"by law B10 is {least:.3g} to {greatest:.3g} years (most weight: {best}, {average.weights.max():.0%})"
    if shape.high < 1.0:
        yield "dies young: the shape is below 1"
    elif shape.low <= 1.0:
        yield "can't tell wearing out from failing at random"
    if average.quantile(0.1) > oldest:
        yield f"B10 lies beyond the oldest part that was watched ({oldest:.1f} years)"
    elif average.quantile(0.5) > oldest:
        yield f"the median lies beyond the oldest part that was watched ({oldest:.1f} years)"
    if not cells["curve_low"] <= cells["fitted_survival"] <= cells["curve_high"] and not math.isnan(cells["curve_low"]):
        yield f"at {cells['curve_age']:.1f} years the laws leave the limits of the product-limit curve"


def known_curve(lives: Lives, level: float, births: str) -> ProductLimit | None:
    """Return the product-limit curve of the lives of known age among those used; None where too few are at risk."""
    chosen = lives.born if births == BIRTHS[1] else np.ones(len(lives.known), dtype=bool)
    return product_limit(lives.known.entry[chosen], lives.curve_leave[chosen], lives.curve_failed[chosen], level=level)


def _curve_cells(curve: ProductLimit | None, region: Region | None) -> dict[str, float]:
    """Return the curve where ten are still at risk, and a law's share at the same age."""
    if curve is None:
        blank = ("curve_age", "curve_at_risk", "curve_survival", "curve_low", "curve_high", "fitted_survival")
        return dict.fromkeys(blank, math.nan)
    share, low, high = curve.at(curve.ends_at)
    fitted = math.nan
    if region is not None:
        law, theta = region.fit.law, region.fit.theta
        start, end = law.survival(theta, [curve.starts_at, curve.ends_at])
        fitted = float(end / start)
    return {
        "curve_age": curve.ends_at,
        "curve_at_risk": curve.at_risk_at_end,
        "curve_survival": share,
        "curve_low": low,
        "curve_high": high,
        "fitted_survival": fitted,
    }


def _bounded(estimate: LifeEstimate, component: str) -> dict[str, Any]:
    """Return what too few failures allow: the exact bound of a rate, and bounds of ages over assumed shapes."""
    what = f"only {_plural(estimate.failures, 'failure')}" if estimate.failures else "no failure"
    what += f" and {_plural(estimate.weak, 'removal')} as weak" if estimate.weak else ""
    said = [f"{what} in {estimate.years:.0f} part-years: too few for a law (at least {FEWEST_TO_FIT})"]
    cells: dict[str, float] = {}
    if estimate.band_b10 is not None and estimate.band_median is not None:
        band, assumed = assumed_band(component), estimate.assumed
        said.append(f"at most {estimate.most_per_year:.2g} failures per part-year were the rate steady")
        said.append(f"bounds assume a Weibull shape of {band[0]:g} to {band[-1]:g}, whatever the unseen ages were")
        if assumed is not None:
            leans = f"a shape of {band[1]:g}" if _assumes_shape(assumed) else "what other groups tell (column prior)"
            said.append(f"the estimate within them assumes {leans}")
        cells = {
            "most_per_year": estimate.most_per_year,
            **_with_limits("b10", assumed.quantile(0.1) if assumed else math.nan, estimate.band_b10),
            **_with_limits("median", assumed.quantile(0.5) if assumed else math.nan, estimate.band_median),
        }
    return {"model": "average", **cells, "note": _joined([estimate.trouble, *said])}


def _assumes_shape(fit: LawFit) -> bool:
    """Say whether a fit's shape was assumed: held by a prior as narrow as an assumption."""
    return fit.prior is not None and fit.prior.log_shape_sd <= ASSUMED_SD


def _plural(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _about(lives: Lives, mended: int) -> Iterator[str]:
    """Say what the lives can't show."""
    if lives.lost:
        yield f"{lives.lost} stretches after a long gap of the log left out"
    if mended:
        yield f"{mended} failures of the component were mended without a new part and end no life"


def _oldest(lives: Lives, births: str) -> float:
    """Return the greatest age at which a part may have been watched."""
    ages = [lives.known.low.max()] if len(lives.known) else [0.0]
    unknown = lives.unknown.at_most + lives.unknown.low
    if births == BIRTHS[0] and (~np.isnan(unknown)).any():
        ages.append(np.nanmax(unknown))
    return float(max(ages))


def _joined(said: Iterable[str]) -> str:
    return "; ".join(part for part in said if part)
