"""What a capacitor measures, whether that is all right, and which part may take its place.

Arithmetic of run and start capacitors. Sources: elementary circuit theory (C = I / 2 pi f V; sums of parallel and
series capacitance; E = C V^2 / 2; t = R C ln(V0/V)); the combination of independent relative errors is that of the
GUM (JCGM 100:2008, 5.1.6). Where a limit is a habit of the trade, its docstring says "common practice, no source".
Checked in tests/reference/test_reference_trade.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from fleet.errors import AnalysisError
from fleet.settings import TOLERANCE_PCT

Advice = Literal["leave", "measure again", "change"]

ACT_PCT = 10.0
"""A section this far below its rating is changed (common practice, no source)."""

OPEN_SECTION_PCT = 5.0
"""A reading under this share of the rating means an open section, not a weak one (common practice, no source)."""

SAFE_VOLTS = 50.0
"""Discharged means at most this many volts (the limit remembered from NEC 460.6, not re-read)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningCapacitance:
    """A capacitance worked out under load, with its relative standard uncertainty (0.022 = 2.2 %)."""

    value_uf: float
    relative_uncertainty: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What to do about a reading, in the words of the trade, and why in one sentence."""

    advice: Advice
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CapacitorRating:
    """What is printed on a capacitor; None where it doesn't apply or isn't known.

    ``herm_uf`` and ``fan_uf`` are the sections of a run capacitor (a single one fills either); a start capacitor
    has its printed range instead.
    """

    herm_uf: float | None = None
    fan_uf: float | None = None
    start_uf_min: float | None = None
    start_uf_max: float | None = None
    volts: float | None = None

    @property
    def is_start(self) -> bool:
        """Whether this is a start capacitor: a range is printed on it."""
        return self.start_uf_min is not None or self.start_uf_max is not None

    @property
    def sections_uf(self) -> tuple[float, ...]:
        """Rated microfarads of the run sections present, compressor before fan."""
        return tuple(value for value in (self.herm_uf, self.fan_uf) if value is not None)


def running_capacitance(
    volts: float,
    amps: float,
    hertz: float = 60.0,
    *,
    volts_uncertainty: float = 0.01,
    amps_uncertainty: float = 0.02,
    hertz_uncertainty: float = 0.0,
) -> RunningCapacitance:
    """Work out microfarads from volts across a run capacitor and amps in its own lead, motor running.

    Parameters
    ----------
    volts, amps : float
        Volts across the capacitor's terminals; amps in the capacitor lead, never in the common leg.
    hertz : float
        Supply frequency.
    volts_uncertainty, amps_uncertainty, hertz_uncertainty : float
        Relative standard uncertainties of the three (0.02 = 2 %).

    Raises
    ------
    AnalysisError
        When volts or hertz aren't above zero, or amps are negative, or one isn't finite.

    Notes
    -----
    C = I 10^6 / (2 pi f V): 2652.58 I/V at 60 Hz, 3183.10 I/V at 50 Hz. This is a test on live equipment, for qualified
    people only: see the caution for live tests.
    """
    _require(volts=volts, hertz=hertz)
    if not 0 <= amps < math.inf:
        msg = f"amps = {amps} must be zero or more; check which lead was measured"
        raise AnalysisError(msg)
    value = amps * 1e6 / (2.0 * math.pi * hertz * volts)
    return RunningCapacitance(
        value_uf=value, relative_uncertainty=math.hypot(volts_uncertainty, amps_uncertainty, hertz_uncertainty)
    )


def parallel_uf(*sections_uf: float) -> float:
    """Add capacitors side by side: microfarads sum (the set's voltage rating is the lowest among them)."""
    return math.fsum(sections_uf)


def series_uf(*sections_uf: float) -> float:
    """Combine capacitors end to end: the reciprocals of their microfarads sum."""
    for value in sections_uf:
        _require(uf=value)
    return 1.0 / math.fsum(1.0 / value for value in sections_uf)


def series_volts(total_volts: float, *sections_uf: float) -> tuple[float, ...]:
    """Divide a voltage over capacitors end to end: inversely to their microfarads, the smallest takes most."""
    joined = series_uf(*sections_uf)
    return tuple(total_volts * joined / value for value in sections_uf)


def stored_energy_j(uf: float, volts_rms: float) -> float:
    """Say how many joules a capacitor can hold when cut off at the peak of an alternating voltage."""
    _require(uf=uf, volts_rms=volts_rms)
    return 0.5 * uf * 1e-6 * (math.sqrt(2.0) * volts_rms) ** 2


def discharge_seconds(uf: float, ohms: float, volts_rms: float, *, safe_volts: float = SAFE_VOLTS) -> float:
    """Say how long a resistor takes to bring a capacitor from the peak of its rated voltage to a safe one.

    Notes
    -----
    A calculated time is no proof: the terminals are measured before they are touched.
    """
    _require(uf=uf, ohms=ohms, volts_rms=volts_rms, safe_volts=safe_volts)
    return max(0.0, ohms * uf * 1e-6 * math.log(math.sqrt(2.0) * volts_rms / safe_volts))


def pct_of_rating(measured_uf: float, rated_uf: float) -> float:
    """Give a reading as percent of the rating (100 = as printed)."""
    _require(rated_uf=rated_uf)
    return 100.0 * measured_uf / rated_uf


def deviation_pct(measured_uf: float, rated_uf: float) -> float:
    """Give a reading's distance from the rating in percent; negative = lost."""
    return pct_of_rating(measured_uf, rated_uf) - 100.0


def judge_run_reading(
    measured_uf: float, rated_uf: float, tolerance_pct: float = TOLERANCE_PCT, *, act_pct: float = ACT_PCT
) -> Verdict:
    """Say whether a run section's reading may be left, should be measured again or means a change.

    Parameters
    ----------
    measured_uf, rated_uf : float
        Reading and printed rating, microfarads.
    tolerance_pct : float
        Marked tolerance, percent either side.
    act_pct : float
        Percent below the rating from which the part is changed; never less than the tolerance.

    Raises
    ------
    AnalysisError
        When the rating isn't above zero or the reading is negative or broken.

    Notes
    -----
    Common practice, no source: inside the tolerance leave; outside it down to ``act_pct`` below measure again; lower
    change; above the tolerance suspect the meter or a wrong part. One reading only: its error isn't in here.
    """
    _require(rated_uf=rated_uf)
    if not 0 <= measured_uf < math.inf:
        msg = f"a reading of {measured_uf} uF can't be judged; it must be zero or more"
        raise AnalysisError(msg)
    off = deviation_pct(measured_uf, rated_uf)
    limit = max(act_pct, tolerance_pct)
    edge = 1e-9  # a reading exactly on a printed limit is inside it, whatever the rounding of the division
    if off < OPEN_SECTION_PCT - 100.0:
        return Verdict(advice="change", reason=f"{measured_uf:g} of {rated_uf:g} uF: the section is open.")
    if off < -limit - edge:
        return Verdict(advice="change", reason=f"{-off:.1f} % below its rating, more than {limit:g} %.")
    if off < -tolerance_pct - edge:
        return Verdict(advice="measure again", reason=f"{-off:.1f} % below its rating, tolerance {tolerance_pct:g} %.")
    if off > tolerance_pct + edge:
        return Verdict(
            advice="measure again", reason=f"{off:.1f} % above its rating: suspect the meter or a wrong part."
        )
    return Verdict(advice="leave", reason=f"{off:+.1f} % from its rating, tolerance {tolerance_pct:g} %.")


def judge_start_reading(measured_uf: float, start_uf_min: float, start_uf_max: float) -> Verdict:
    """Say whether a start capacitor's reading lies in the range printed on it (common practice, no source).

    Notes
    -----
    A bleed resistor left on the terminals spoils the reading.
    """
    _require(start_uf_min=start_uf_min, start_uf_max=start_uf_max)
    printed = f"the printed {start_uf_min:g}-{start_uf_max:g} uF"
    if start_uf_min > start_uf_max or not 0 <= measured_uf < math.inf:
        msg = f"a reading of {measured_uf} uF against {printed} can't be judged; check both"
        raise AnalysisError(msg)
    if measured_uf < start_uf_min:
        return Verdict(advice="change", reason=f"{measured_uf:g} uF is below {printed}.")
    if measured_uf > start_uf_max:
        reason = f"{measured_uf:g} uF is above {printed}: suspect the meter or a wrong part."
        return Verdict(advice="measure again", reason=reason)
    return Verdict(advice="leave", reason=f"{measured_uf:g} uF lies in {printed}.")


def reason_against(rated: CapacitorRating, candidate: CapacitorRating) -> str | None:
    """Say why one capacitor may not stand for another; None when it may.

    Notes
    -----
    The habit of the trade (several trade pages; no standard read): run and start capacitors never stand for each other;
    a run capacitor needs the same rated microfarads in each section, a larger one is no substitute; a start
    capacitor needs the same printed range; volts equal or higher. Where the old part's volts aren't known, they
    aren't judged here: compare the labels before fitting.
    """
    if rated.is_start != candidate.is_start:
        return "A run and a start capacitor never stand for each other."
    if rated.is_start:
        same = _same(_range_uf(rated), _range_uf(candidate))
        difference = "the printed start range differs"
    else:
        same = bool(rated.sections_uf) and _same(rated.sections_uf, candidate.sections_uf)
        difference = "the rated microfarads of the sections differ"
    if not same:
        return f"{_spoken(candidate)} can't stand for {_spoken(rated)}: {difference}."
    return _reason_against_volts(rated, candidate)


def may_stand_for(rated: CapacitorRating, candidate: CapacitorRating) -> bool:
    """Say whether one capacitor may take another's place by its rating; `reason_against` says why not."""
    return reason_against(rated, candidate) is None


def singles_may_stand_for(rated: CapacitorRating, first: CapacitorRating, second: CapacitorRating) -> bool:
    """Say whether two single run capacitors may take the place of a dual one (same microfarads, volts not lower)."""
    single = all(len(part.sections_uf) == 1 and not part.is_start for part in (first, second))
    if rated.is_start or len(rated.sections_uf) != 2 or not single:
        return False
    together = sorted(first.sections_uf + second.sections_uf)
    volts_fit = all(_reason_against_volts(rated, part) is None for part in (first, second))
    return volts_fit and _same(tuple(sorted(rated.sections_uf)), tuple(together))


def _reason_against_volts(rated: CapacitorRating, candidate: CapacitorRating) -> str | None:
    if rated.volts is None:
        return None
    if candidate.volts is None:
        return f"Its volts aren't known; at least {rated.volts:g} V are needed."
    if candidate.volts < rated.volts:
        return f"Rated {candidate.volts:g} V, and at least {rated.volts:g} V are needed."
    return None


def _range_uf(rating: CapacitorRating) -> tuple[float, ...]:
    return tuple(value for value in (rating.start_uf_min, rating.start_uf_max) if value is not None)


def _same(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return len(one) == len(other) and all(math.isclose(a, b, rel_tol=1e-6) for a, b in zip(one, other, strict=True))


def _spoken(rating: CapacitorRating) -> str:
    values = _range_uf(rating) if rating.is_start else rating.sections_uf
    text = ("-" if rating.is_start else "/").join(f"{value:g}" for value in values)
    return f"{text} uF" if text else "an unrated capacitor"


def _require(**values: float) -> None:
    for name, value in values.items():
        if not 0 < value < math.inf:
            msg = f"{name} = {value} must be above zero and finite"
            raise AnalysisError(msg)
