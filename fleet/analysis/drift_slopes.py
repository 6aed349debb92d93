"""How fast do capacitors of each kind lose capacitance? Slopes by model family and section.

Two ways side by side: the median slope of all pairs of readings of one part (Theil and Sen, pairs weighed by the time
between them), which no odd reading can carry far, and the mixed model's slope, shrunk toward the fleet's.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from fleet.analysis.drift import fitted_drift
from fleet.analysis.drift_parts import FIXED, DriftParts
from fleet.analysis.mixed_drift import MixedDrift
from fleet.analysis.poisson import FloatArray, check_level
from fleet.analysis.theil_sen import weighted_median
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL

SEED = 20_260_402
MIN_YEARS = 0.5
"""Readings of one part closer together than this say nothing of its slope."""

MIN_UNITS = 5
_RATE = "percent of rated a year"

COLUMNS = (
    AnswerColumn(name="model_family", kind="text", meaning="the family; blank = all"),
    AnswerColumn(name="section", kind="text", meaning="herm (compressor) or fan"),
    AnswerColumn(name="units", kind="count", meaning="units with a part read twice, half a year apart or more"),
    AnswerColumn(name="pairs", kind="count", meaning="pairs of readings"),
    AnswerColumn(
        name="slope_pct_per_year", kind="number", meaning="median slope of pairs; negative = losing", unit=_RATE
    ),
    AnswerColumn(name="low", kind="number", meaning="low end, from resampling units", unit=_RATE),
    AnswerColumn(name="high", kind="number", meaning="high end, from resampling units", unit=_RATE),
    AnswerColumn(name="shrunk_slope", kind="number", meaning="slope of the mixed model", unit=_RATE),
    AnswerColumn(name="shrunk_low", kind="number", meaning="low end of shrunk_slope", unit=_RATE),
    AnswerColumn(name="shrunk_high", kind="number", meaning="high end of shrunk_slope", unit=_RATE),
    AnswerColumn(name="property", kind="text", meaning="blank: all together"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)


def drift_slopes(histories: Histories, *, level: float = LEVEL, seed: int = SEED, replicates: int = 400) -> Answer:
    """Say how fast the capacitors of each model family and section lose capacitance.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of the limits.
    seed, replicates : int
        Seed and number of the fleets resampled from the units for ``low`` and ``high``.

    Returns
    -------
    Answer
        One row a model family and section, and each section over all families (`COLUMNS`). The median slope is blank
        with under five units read twice.

    Raises
    ------
    AnalysisError
        When the level is out of range.
    """
    check_level(level)
    parts, fit, _, _ = fitted_drift(histories)
    pairs = _pairs(parts, fit)
    rng = np.random.default_rng(seed)
    groups = [("", section) for section in ("herm", "fan")]
    groups += sorted(
        {(str(f), str(s)) for f, s in zip(parts.sections["model_family"], parts.sections["section"], strict=True)}
    )
    rows = [
        _row(pairs, family, section, (level, rng, replicates)) | _shrunk(parts, fit, family, section, level)
        for family, section in groups
    ]
    return answer_from(
        histories,
        pd.DataFrame(rows, columns=[c.name for c in COLUMNS]),
        COLUMNS,
        name="drift-slopes",
        method="Theil-Sen slope within parts, meters' bias taken out, units resampled; beside it the mixed model's.",
        n_used=len(pairs),
        notes=["Slopes are change in percent of rated a calendar year; parts age with heat, so hot sites lose faster."],
        settings={"level": level, "seed": seed, "replicates": replicates},
    )


def _pairs(parts: DriftParts, fit: MixedDrift) -> pd.DataFrame:
    """Return one row a pair of readings of one part: unit, kind, slope, years between."""
    bias = fit.effects[fit.effects.size - len(parts.meters) :]
    r = parts.readings[["part", "t"]].assign(
        level=parts.readings["level"].to_numpy() - bias[parts.readings["meter"].to_numpy(dtype=np.intp)]
    )
    s = parts.sections[["unit_id", "model_family", "section"]]
    both = r.assign(n=np.arange(len(r))).merge(r.assign(n=np.arange(len(r))), on="part", suffixes=("", "_later"))
    both = both.loc[both["n_later"] > both["n"]]
    years = both["t_later"] - both["t"]
    both = both.assign(years=years, slope=(both["level_later"] - both["level"]) / years.where(years > 0))
    return both.loc[both["years"] >= MIN_YEARS, ["part", "years", "slope"]].join(s, on="part").reset_index(drop=True)


def _row(
    pairs: pd.DataFrame, family: str, section: str, asked: tuple[float, np.random.Generator, int]
) -> dict[str, object]:
    level, rng, replicates = asked
    own = pairs.loc[(pairs["section"] == section) & ((pairs["model_family"] == family) | (family == ""))]
    unit, names = pd.factorize(own["unit_id"])
    row: dict[str, object] = {
        "model_family": family, "section": section, "units": len(names), "pairs": len(own),
        "slope_pct_per_year": np.nan, "low": np.nan, "high": np.nan, "property": "",
    }  # fmt: skip
    if len(names) < MIN_UNITS:
        return row | {"note": f"{len(names)} units read twice: under {MIN_UNITS}, not enough data"}
    slope, years = own["slope"].to_numpy(dtype=np.float64), own["years"].to_numpy(dtype=np.float64)
    draws = _resampled(slope, years, unit.astype(np.intp), rng, replicates)
    low, high = np.quantile(draws, [0.5 - level / 2.0, 0.5 + level / 2.0])
    return row | {
        "slope_pct_per_year": weighted_median(slope, years), "low": float(low), "high": float(high), "note": "",
    }  # fmt: skip


def _resampled(
    slope: FloatArray, years: FloatArray, unit: npt.NDArray[np.intp], rng: np.random.Generator, replicates: int
) -> FloatArray:
    """Return the weighted median of each resampled fleet of units."""
    order = np.argsort(slope, kind="stable")
    n_units = int(unit.max()) + 1
    found = np.empty(replicates)
    for i in range(replicates):
        times = np.bincount(rng.integers(0, n_units, n_units), minlength=n_units)
        reached = np.cumsum((years * times[unit])[order])
        found[i] = slope[order[np.searchsorted(reached, reached[-1] / 2.0)]]
    return found


def _shrunk(parts: DriftParts, fit: MixedDrift, family: str, section: str, level: float) -> dict[str, object]:
    pick = np.zeros(fit.effects.size)
    pick[FIXED.index("slope")], pick[FIXED.index("slope of fans")] = 1.0, float(section == "fan")
    kind = f"{family} {section}"
    if kind in parts.kinds:
        pick[len(FIXED) + parts.kinds.index(kind)] = 1.0
    half = float(special.ndtri(0.5 + level / 2.0) * np.sqrt(pick @ fit.covariance @ pick))
    slope = float(pick @ fit.effects)
    return {"shrunk_slope": slope, "shrunk_low": slope - half, "shrunk_high": slope + half}
