"""Which lives of a group does an estimate rest on, and how likely are they? The choice of births, as a likelihood."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fleet.analysis.life_data import Lives
from fleet.analysis.life_fit import KnownLives, Likelihood
from fleet.analysis.life_sample import IndexArray, LifeSample
from fleet.analysis.poisson import FloatArray
from fleet.analysis.renewal_age import JoinedLikelihood, RenewalMixture, UnknownLives, renewal_mixture

BIRTHS = ("any", "in the log")
"""Which lives are used: all, those of unknown birth by the renewal mixture; or only those born in the log."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChosenLives:
    """The lives of a group that an estimate rests on.

    Attributes
    ----------
    known, unknown : LifeSample, UnknownLives
        Lives of known and of unknown age.
    known_unit, unknown_unit : ndarray of int
        The unit of each.
    weak : int
        Removals as weak among them.
    presumed : bool
        Whether those are taken to fail within the look-ahead.
    births : str
        One of `BIRTHS`.
    oldest : float
        The greatest age at the log's start a unit of unknown age is taken to have had.
    mixture : RenewalMixture or None
        The likelihood of the lives of unknown age.
    """

    known: LifeSample
    unknown: UnknownLives
    known_unit: IndexArray = field(repr=False)
    unknown_unit: IndexArray = field(repr=False)
    weak: int
    presumed: bool
    births: str
    oldest: float
    mixture: RenewalMixture | None = field(repr=False)
    likelihood: Likelihood = field(repr=False)

    @property
    def events(self) -> int:
        """Lives that ended, or are taken to have ended, in a failure."""
        return self.known.failures + self.unknown.failures

    @property
    def years(self) -> float:
        """Part-years watched."""
        return self.known.years + self.unknown.years

    @property
    def counts(self) -> dict[str, Any]:
        """What an estimate says of the lives it rests on."""
        return {
            "births": self.births,
            "used": len(self.known) + len(self.unknown),
            "failures": self.events - (self.weak if self.presumed else 0),
            "weak": self.weak,
            "years": self.years,
        }

    def weighed(self, by_unit: FloatArray) -> Likelihood:
        """Return the likelihood with every life weighed by its unit's weight, as a weighted bootstrap needs it."""
        mixture = self.mixture.weighed(by_unit[self.unknown_unit]) if self.mixture is not None else None
        return _joined(self.known, mixture, by_unit[self.known_unit])


def choose_lives(lives: Lives, births: str = BIRTHS[0]) -> ChosenLives:
    """Return the lives asked for; those in units of unknown age only where other units' ages can stand in."""
    if births == BIRTHS[0]:
        keep = ~np.isnan(lives.unknown.at_most) | (lives.unit_ages.size > 0)
        known, weak, unit = lives.known, lives.known_weak, lives.known_unit
    else:
        keep = np.zeros(len(lives.unknown), dtype=bool)
        known, weak, unit = lives.safe, lives.known_weak[lives.born], lives.known_unit[lives.born]
    u = lives.unknown
    unknown = UnknownLives(at_most=u.at_most[keep], quiet=u.quiet[keep], low=u.low[keep], high=u.high[keep])
    mixture = None
    if len(unknown):
        mixture = renewal_mixture(
            unknown, removal_rate=lives.removal_rate, unit_goes=lives.unit_goes, unit_ages=lives.unit_ages
        )
    return ChosenLives(
        known=known,
        unknown=unknown,
        known_unit=unit,
        unknown_unit=lives.unknown_unit[keep],
        weak=int(weak.sum() + lives.unknown_weak[keep].sum()),
        presumed=lives.weak_presumed,
        births=births,
        oldest=float(lives.unit_ages.max()) if lives.unit_ages.size else math.inf,
        mixture=mixture,
        likelihood=_joined(known, mixture),
    )


def _joined(known: LifeSample, mixture: RenewalMixture | None, weights: FloatArray | None = None) -> Likelihood:
    if mixture is None:
        return KnownLives.of(known, weights)
    parts: tuple[Likelihood, ...] = (mixture,) if len(known) == 0 else (KnownLives.of(known, weights), mixture)
    return JoinedLikelihood(parts=parts)
