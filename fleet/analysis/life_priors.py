"""What is taken for granted where failures are few? A weak prior on how a component wears and how long it lasts.

It is used below `FEWEST_WITHOUT_PRIOR` failures only, and said aloud. Medians of life: ASHRAE Handbook, HVAC
Applications, owning and operating costs, service-life table (survey of 1976, through a secondary listing): electric
motors 18, motor starters 17, reciprocating compressors 20, coils 20, residential package units 15 years. All others are
common practice, no source. A standard deviation of 0.6 in the log lets the truth be 2.7 times longer or shorter.
"""

from __future__ import annotations

import math
from types import MappingProxyType

from fleet.analysis.life_fit import Prior
from fleet.analysis.life_laws import WEIBULL, Law

FEWEST_WITHOUT_PRIOR = 20
"""From this many failures on the data speak alone: the shape's bias is then about 5 %."""

FEWEST_TO_FIT = 5
"""Below this many failures no shape is fitted; it is assumed, over a band."""

WEARING_SHAPE, STEADY_SHAPE = 2.0, 1.0
"""Prior median of the Weibull shape of parts that wear, and of those that fail at random."""

SHAPE_SD, SCALE_SD = 0.35, 0.6
"""Standard deviations of the logs."""

WEARING_BAND, STEADY_BAND = (1.5, 2.2, 3.0), (0.7, 1.0, 1.4)
"""Shapes assumed below `FEWEST_TO_FIT` failures."""

STEADY = frozenset({"thermostat", "transformer", "control board", "wiring", "refrigerant leak", "other"})
"""Electronics, and what fails by accident rather than by wear."""

MEDIAN_YEARS = MappingProxyType(
    {
        "run capacitor": 10.0,
        "hard start": 10.0,
        "contactor": 17.0,
        "fan motor": 18.0,
        "blower motor": 18.0,
        "compressor": 20.0,
        "metering device": 20.0,
        "refrigerant leak": 20.0,
        "dirty filter": 2.0,
    }
)
"""Prior median life, years."""

USUAL_MEDIAN_YEARS = 15.0
"""Prior median life of every other component: that of the whole unit."""


def is_wearing(component: str) -> bool:
    """Say whether a component is taken to wear out."""
    return component not in STEADY


def median_years(component: str) -> float:
    """Return the prior median life of a component."""
    return MEDIAN_YEARS.get(component, USUAL_MEDIAN_YEARS)


def life_prior(component: str, law: Law) -> Prior:
    """Return the weak prior for a component under a law.

    The shape of another law than the Weibull is centered so that the log of life has the same standard deviation, and
    its scale so that the median is the same.
    """
    shape = WEARING_SHAPE if is_wearing(component) else STEADY_SHAPE
    log_shape = math.log(shape * law.log_sd / WEIBULL.log_sd)
    log_median = math.log(median_years(component))
    return Prior(
        log_scale=log_median - law.standard_quantile(0.5) * math.exp(-log_shape),
        log_scale_sd=SCALE_SD,
        log_shape=log_shape,
        log_shape_sd=SHAPE_SD,
    )


def describe_prior(component: str) -> str:
    """Say the prior aloud, in a clause."""
    shape = WEARING_SHAPE if is_wearing(component) else STEADY_SHAPE
    years = median_years(component)
    narrow, wide = math.exp(2.0 * SHAPE_SD), math.exp(2.0 * SCALE_SD)
    return (
        f"Weibull shape about {shape:g} ({shape / narrow:.1f} to {shape * narrow:.1f}), "
        f"median life about {years:g} years ({years / wide:.2g} to {years * wide:.2g})"
    )


def assumed_band(component: str) -> tuple[float, ...]:
    """Return the shapes to assume for a component with too few failures to fit any."""
    return WEARING_BAND if is_wearing(component) else STEADY_BAND
