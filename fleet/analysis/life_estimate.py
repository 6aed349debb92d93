"""How long do these parts last: the best the lives of one component and group allow, from bounds to averaged laws.

Under five failures only bounds, the shape assumed; under twenty a weak prior; from twenty on the data alone, unless
they don't hold both scale and shape. Lives of unknown birth enter by the renewal mixture; where that can't be fitted,
the lives born in the log alone are the fallback.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from fleet.analysis.life_average import AveragedLife, akaike_weights, average_laws, averaged_quantile
from fleet.analysis.life_chosen import BIRTHS, ChosenLives, choose_lives
from fleet.analysis.life_data import Lives
from fleet.analysis.life_draws import bootstrap_regions
from fleet.analysis.life_few import assume_shape, shape_band
from fleet.analysis.life_fit import (
    LawFit,
    Prior,
    Region,
    fit_law,
    likelihood_region,
    matching_point,
    starting_point,
)
from fleet.analysis.life_laws import LAWS, WEIBULL, Law
from fleet.analysis.life_priors import FEWEST_TO_FIT, FEWEST_WITHOUT_PRIOR, assumed_band, life_prior
from fleet.analysis.poisson import FloatArray, Interval, garwood_interval
from fleet.settings import LEVEL

ASSUMED_SD = 1e-3
"""Standard deviation of a log shape that is assumed rather than fitted."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LifeEstimate:
    """What the lives allow to be said.

    Attributes
    ----------
    births : str
        Which lives it rests on, one of `BIRTHS`.
    used, failures, weak : int
        Lives it rests on, failures among them (weak removals too where those count as failed the same day), and
        removals as weak among them.
    prior : Prior or None
        The Weibull's prior, where one was added.
    average : AveragedLife or None
        The laws and their average; None where there are too few failures.
    assumed : LawFit or None
        A Weibull with the shape assumed, where failures are too few for a law but there is one.
    band_b10, band_median : Interval or None
        Bounds over all the shapes assumed, where nothing was fitted: valid whatever the unseen ages were.
    most_per_year : float
        Exact upper bound of a steady failure rate from all part-years, one-sided, where nothing was fitted.
    trouble : str
        Blank, or why something asked for couldn't be done.
    """

    births: str
    used: int
    failures: int
    weak: int
    years: float
    prior: Prior | None = None
    average: AveragedLife | None = field(default=None, repr=False)
    assumed: LawFit | None = field(default=None, repr=False)
    band_b10: Interval | None = None
    band_median: Interval | None = None
    most_per_year: float = math.nan
    trouble: str = ""

    def region(self, law: Law) -> Region | None:
        """Return a law's fit and region, None where it has none."""
        regions = self.average.regions if self.average else ()
        return next((r for r in regions if r.fit.law is law), None)


def estimate_lives(
    lives: Lives,
    component: str,
    *,
    level: float = LEVEL,
    births: str = "any",
) -> LifeEstimate:
    """Estimate how long a component's parts last from the lives of one group alone.

    Parameters
    ----------
    lives : Lives
    component : str
        Names the weak prior used where failures are few.
    level : float
        Two-sided level of the intervals.
    births : str
        One of `fleet.analysis.life_chosen.BIRTHS`.
    """
    chosen = choose_lives(lives, births)
    estimate = estimate_chosen(chosen, fit_chosen(chosen, component), component, level=level)
    if estimate.average is None and estimate.trouble and chosen.mixture is not None:
        fallback = estimate_lives(lives, component, level=level, births=BIRTHS[1])
        return replace(fallback, trouble="lives of unknown birth couldn't be fitted and are left out")
    return estimate


def fit_chosen(
    chosen: ChosenLives,
    component: str,
    priors: Mapping[str, Prior] | None = None,
    laws: Sequence[Law] = LAWS,
    *,
    near: Mapping[str, FloatArray] | None = None,
) -> list[LawFit]:
    """Fit every law to a group's lives; none where failures are too few.

    Parameters
    ----------
    chosen : ChosenLives
    component : str
        Names the weak prior, used below 20 failures and where the lives alone hold no law.
    priors : mapping of str to Prior, optional
        By law, what the component's other groups say; used instead of the weak prior, however many failures.
    laws : sequence of Law
    near : mapping of str to ndarray, optional
        By law, (log scale, log shape) near the best fit: a shorter way, not another answer.

    Returns
    -------
    list of LawFit
        Those that settled. Empty unless the Weibull is among them.
    """
    if chosen.events < FEWEST_TO_FIT:
        return []
    weak = {law.name: life_prior(component, law) for law in laws}
    if priors is not None:
        tries: tuple[Mapping[str, Prior], ...] = (priors, weak)
    else:
        tries = ({}, weak) if chosen.events >= FEWEST_WITHOUT_PRIOR else (weak,)
    for prior in tries:
        fits: list[LawFit] = []
        for law in laws:
            begin = (near or {}).get(law.name)
            fit = fit_law(law, chosen.likelihood, begin, prior=prior.get(law.name)) if begin is not None else None
            if fit is None or fit.trouble:
                start = matching_point(law, fits[0]) if fits else _start(chosen, prior.get(law.name))
                fit = fit_law(law, chosen.likelihood, start, prior=prior.get(law.name))
            fits.append(fit)
        settled = [fit for fit in fits if not fit.trouble]
        if any(fit.law is WEIBULL for fit in settled):
            return settled
    return []


def estimate_chosen(
    chosen: ChosenLives,
    fits: Sequence[LawFit],
    component: str,
    *,
    level: float = LEVEL,
    weights: Mapping[str, float] | None = None,
    pooled: Mapping[str, Prior] | None = None,
    seed: int | None = None,
) -> LifeEstimate:
    """Bound and average fitted laws; without any, give the bounds that can be given.

    Parameters
    ----------
    chosen, fits
        The lives of a group, and what `fit_chosen` made of them.
    component : str
    level : float
    weights : mapping of str to float, optional
        A weight a law; default: Akaike weights of the fits.
    pooled : mapping of str to Prior, optional
        What the component's other groups say; an estimate from too few failures leans on it.
    seed : int, optional
        Take intervals from a weighted bootstrap of units, drawn by it, instead of the likelihood ratio.
    """
    if chosen.events < FEWEST_TO_FIT:
        return _too_few(chosen, component, level, pooled)
    if seed is None:
        regions = [likelihood_region(fit, chosen.likelihood, level) for fit in fits]
    else:
        regions = bootstrap_regions(chosen, fits, level, seed=seed)
    regions = [region for region in regions if region.closed]
    weibull = next((r for r in regions if r.fit.law is WEIBULL), None)
    if weibull is None and fits and fits[0].prior is None:
        weak = {law.name: life_prior(component, law) for law in LAWS}
        again = fit_chosen(chosen, component, weak)
        return estimate_chosen(chosen, again, component, level=level, weights=weights, seed=seed)
    if weibull is None:
        return replace(_too_few(chosen, component, level, pooled), trouble="no law could be fitted")
    return LifeEstimate(
        **chosen.counts,
        prior=weibull.fit.prior,
        average=average_laws(regions, weights),
        trouble="" if len(regions) == len(LAWS) else "not every law could be fitted",
    )


def shared_weights(every: Sequence[Sequence[LawFit]]) -> dict[str, float] | None:
    """Weigh laws by what all groups of a component say together; None where no group was fitted by every law."""
    full = [fits for fits in every if len(fits) == len(LAWS)]
    if not full:
        return None
    weights = akaike_weights([sum(fits[nth].aic for fits in full) for nth in range(len(LAWS))])
    return {law.name: float(weight) for law, weight in zip(LAWS, weights, strict=True)}


def averaged_b10(fits: Sequence[LawFit], weights: Mapping[str, float] | None = None) -> float:
    """Return the averaged B10 alone, to compare answers; not a number without a fit."""
    return averaged_quantile(fits, 0.1, weights) if fits else math.nan


def quick_b10(lives: Lives, component: str, *, births: str = "any", laws: Sequence[Law] = LAWS) -> float:
    """Return the averaged B10 of one group alone; not a number where too few failures allow none."""
    return averaged_b10(fit_chosen(choose_lives(lives, births), component, laws=laws))


def _start(chosen: ChosenLives, prior: Prior | None) -> FloatArray:
    """Begin where a prior stands, or else where the data's own failures and years do."""
    return prior.center if prior is not None else starting_point(WEIBULL, chosen.events, chosen.years)


def _too_few(
    chosen: ChosenLives, component: str, level: float, pooled: Mapping[str, Prior] | None = None
) -> LifeEstimate:
    """Bound what can be bounded: ages by assumed shapes, a steady rate exactly; and fit a scale to the middle shape."""
    counts, band = chosen.counts, assumed_band(component)
    if not counts["years"] > 0:
        return LifeEstimate(**counts)
    bounds = [assume_shape(chosen.known, shape, level, unknown=chosen.unknown, oldest=chosen.oldest) for shape in band]
    return LifeEstimate(
        **counts,
        assumed=_fit_assumed(chosen, band[1], (pooled or {}).get(WEIBULL.name)) if chosen.events else None,
        band_b10=shape_band(bounds, 0.1),
        band_median=shape_band(bounds, 0.5),
        most_per_year=garwood_interval(chosen.events, counts["years"], level).high,
    )


def _fit_assumed(chosen: ChosenLives, shape: float, pooled: Prior | None) -> LawFit | None:
    """Fit with what other groups say, or else the scale alone: a prior as narrow as an assumption on the shape."""
    start = _start(chosen, None)
    assumed = Prior(log_scale=float(start[0]), log_scale_sd=1e3, log_shape=math.log(shape), log_shape_sd=ASSUMED_SD)
    prior = pooled or assumed
    fit = fit_law(WEIBULL, chosen.likelihood, prior.center, prior=prior)
    return None if fit.trouble else fit
