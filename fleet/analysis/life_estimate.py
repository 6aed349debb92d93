"""How long do these parts last: the best the lives of one component and group allow, from bounds to averaged laws.

Under five failures only bounds, the shape assumed; under twenty a weak prior; from twenty on the data alone, unless
they don't hold both scale and shape. Lives of unknown birth enter by the renewal mixture; where that can't be fitted,
the lives born in the log alone are the fallback.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fleet.analysis.life_average import AveragedLife, average_laws, averaged_quantile
from fleet.analysis.life_data import Lives
from fleet.analysis.life_few import AssumedShape, assume_shape, shape_band
from fleet.analysis.life_fit import (
    KnownLives,
    LawFit,
    Likelihood,
    Prior,
    Region,
    fit_law,
    likelihood_region,
    matching_point,
    starting_point,
)
from fleet.analysis.life_laws import LAWS, WEIBULL, Law
from fleet.analysis.life_priors import FEWEST_TO_FIT, FEWEST_WITHOUT_PRIOR, assumed_band, life_prior
from fleet.analysis.life_sample import LifeSample
from fleet.analysis.poisson import FloatArray, Interval, upper_bound_for_zero
from fleet.analysis.renewal_age import JoinedLikelihood, RenewalMixture, UnknownLives, renewal_mixture
from fleet.settings import LEVEL

BIRTHS = ("any", "in the log")
"""Which lives are used: all, those of unknown birth by the renewal mixture; or only those born in the log."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Chosen:
    """The lives of a group that an estimate rests on."""

    known: LifeSample
    unknown: UnknownLives
    weak: int
    presumed: bool
    births: str

    @property
    def events(self) -> int:
        return self.known.failures + self.unknown.failures

    @property
    def counts(self) -> dict[str, Any]:
        return {
            "births": self.births,
            "used": len(self.known) + len(self.unknown),
            "failures": self.events - (self.weak if self.presumed else 0),
            "weak": self.weak,
            "years": self.known.years + self.unknown.years,
        }


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
    prior : bool
        Whether a weak prior was added.
    average : AveragedLife or None
        The laws and their average; None where there are too few failures.
    assumed : AssumedShape or None
        The bounds with the shape assumed, where nothing was fitted and some life of known age was watched.
    band_b10, band_median : Interval or None
        Those bounds over all the shapes assumed.
    most_per_year : float
        Upper bound of a constant failure rate from all part-years, one-sided; only without any failure.
    trouble : str
        Blank, or why something asked for couldn't be done.
    """

    births: str
    used: int
    failures: int
    weak: int
    years: float
    prior: bool = False
    average: AveragedLife | None = field(default=None, repr=False)
    assumed: AssumedShape | None = None
    band_b10: Interval | None = None
    band_median: Interval | None = None
    most_per_year: float = math.nan
    trouble: str = ""

    def region(self, law: Law) -> Region | None:
        """Return a law's fit and region, None where it has none."""
        regions = self.average.regions if self.average else ()
        return next((r for r in regions if r.fit.law is law), None)


def estimate_lives(lives: Lives, component: str, *, level: float = LEVEL, births: str = "any") -> LifeEstimate:
    """Estimate how long a component's parts last from the lives of one group.

    Parameters
    ----------
    lives : Lives
    component : str
        Names the weak prior used where failures are few.
    level : float
        Two-sided level of the intervals.
    births : str
        One of `BIRTHS`.
    """
    chosen = _choose(lives, births)
    if chosen.events < FEWEST_TO_FIT:
        return _too_few(chosen, component, level)
    mixture = _mixture(lives, chosen.unknown)
    regions, prior = _fit_all(chosen, mixture, component, level)
    if not regions and mixture is not None:
        fallback = estimate_lives(lives, component, level=level, births=BIRTHS[1])
        return replace(fallback, trouble="lives of unknown birth couldn't be fitted and are left out")
    if not regions:
        return replace(_too_few(chosen, component, level), trouble="no law could be fitted")
    return LifeEstimate(
        **chosen.counts,
        prior=prior,
        average=average_laws(regions),
        trouble="" if len(regions) == len(LAWS) else "not every law could be fitted",
    )


def quick_b10(lives: Lives, component: str, *, births: str = "any", laws: Sequence[Law] = LAWS) -> float:
    """Return the averaged B10 alone, to compare answers; not a number where too few failures allow none."""
    chosen = _choose(lives, births)
    if chosen.events < FEWEST_TO_FIT:
        return math.nan
    likelihood = _likelihood(chosen.known, _mixture(lives, chosen.unknown))
    fits = _fits(chosen, likelihood, component, laws, with_prior=chosen.events < FEWEST_WITHOUT_PRIOR)
    settled = [fit for fit in fits if not fit.trouble]
    return averaged_quantile(settled, 0.1) if settled else math.nan


def group_likelihood(lives: Lives, known_weights: FloatArray | None, unknown_weights: FloatArray | None) -> Likelihood:
    """Return the likelihood of all lives of a group with each weighed, as a weighted bootstrap needs it.

    Lives in units of unknown age must have unit ages to go by (see `renewal_mixture`).
    """
    mixture = _mixture(lives, lives.unknown, unknown_weights) if len(lives.unknown) else None
    return _likelihood(lives.known, mixture, known_weights)


def _fit_all(
    chosen: _Chosen, mixture: RenewalMixture | None, component: str, level: float
) -> tuple[list[Region], bool]:
    """Fit every law, without a prior if the data hold it; return those that have bounds, and whether a prior helped."""
    likelihood = _likelihood(chosen.known, mixture)
    for with_prior in (False, True) if chosen.events >= FEWEST_WITHOUT_PRIOR else (True,):
        fits = _fits(chosen, likelihood, component, LAWS, with_prior=with_prior)
        regions = [likelihood_region(fit, likelihood, level) for fit in fits if not fit.trouble]
        bounded = [region for region in regions if region.closed]
        if any(r.fit.law is WEIBULL for r in bounded):
            return bounded, with_prior
    return [], True


def _fits(
    chosen: _Chosen, likelihood: Likelihood, component: str, laws: Sequence[Law], *, with_prior: bool
) -> list[LawFit]:
    """Fit laws, each from where the first came to rest."""
    fits: list[LawFit] = []
    for law in laws:
        prior = life_prior(component, law) if with_prior else None
        start = matching_point(law, fits[0]) if fits else _start(chosen, prior)
        fits.append(fit_law(law, likelihood, start, prior=prior))
    return fits


def _start(chosen: _Chosen, prior: Prior | None) -> FloatArray:
    """Begin where a prior stands, or else where the data's own failures and years do."""
    if prior is not None:
        return np.array([prior.log_scale, prior.log_shape])
    return starting_point(WEIBULL, chosen.events, chosen.known.years + chosen.unknown.years)


def _likelihood(known: LifeSample, mixture: RenewalMixture | None, weights: FloatArray | None = None) -> Likelihood:
    if mixture is None:
        return KnownLives.of(known, weights)
    parts: tuple[Likelihood, ...] = (mixture,) if len(known) == 0 else (KnownLives.of(known, weights), mixture)
    return JoinedLikelihood(parts=parts)


def _mixture(lives: Lives, usable: UnknownLives, weights: FloatArray | None = None) -> RenewalMixture | None:
    if len(usable) == 0:
        return None
    return renewal_mixture(
        usable,
        removal_rate=lives.removal_rate,
        unit_goes=lives.unit_goes,
        unit_ages=lives.unit_ages,
        weights=weights,
    )


def _choose(lives: Lives, births: str) -> _Chosen:
    """Return the lives asked for; those in units of unknown age only where other units' ages can stand in."""
    if births == BIRTHS[0]:
        keep = ~np.isnan(lives.unknown.at_most) | (lives.unit_ages.size > 0)
        known, weak = lives.known, lives.known_weak
    else:
        keep = np.zeros(len(lives.unknown), dtype=bool)
        known, weak = lives.safe, lives.known_weak[lives.born]
    u = lives.unknown
    return _Chosen(
        known=known,
        unknown=UnknownLives(at_most=u.at_most[keep], quiet=u.quiet[keep], low=u.low[keep], high=u.high[keep]),
        weak=int(weak.sum() + lives.unknown_weak[keep].sum()),
        presumed=lives.weak_presumed,
        births=births,
    )


def _too_few(chosen: _Chosen, component: str, level: float) -> LifeEstimate:
    """Bound what can be bounded: ages by assumed shapes from known lives, a constant rate from every part-year."""
    known, counts = chosen.known, chosen.counts
    band = assumed_band(component)
    none_failed = chosen.events == 0 and counts["years"] > 0
    bounded = known.years > 0
    return LifeEstimate(
        **counts,
        assumed=assume_shape(known, band[1], level) if bounded else None,
        band_b10=shape_band(known, band, 0.1, level) if bounded else None,
        band_median=shape_band(known, band, 0.5, level) if bounded else None,
        most_per_year=upper_bound_for_zero(counts["years"], 0.5 * (1.0 + level)) if none_failed else math.nan,
    )
