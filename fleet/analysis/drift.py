"""How far has each capacitor section drifted, and when does it leave tolerance? Every section in service, now.

The true deviation is estimated by a mixed model (`fleet.analysis.mixed_drift`): part, meter and noise told apart, parts
changed without a word recognised, sections nobody measured given their kind's value with a wide interval.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
from scipy import special

from fleet.analysis.drift_jumps import OddReadings, find_odd_readings
from fleet.analysis.drift_parts import DriftParts, drift_parts
from fleet.analysis.mixed_drift import MixedDrift, PredictedLines, fit_mixed_drift
from fleet.analysis.poisson import FloatArray, check_level
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR, LEVEL, TOLERANCE_PCT

HORIZON_YEARS = 15
NEVER = f"more than {HORIZON_YEARS} years"

CHANGE_AT, MEASURE_AT = 0.5, 0.10
"""Change when out of tolerance now is likelier than not; measure again when it has this chance in a year."""

_PCT = "percent of rated"

COLUMNS = (
    AnswerColumn(name="equipment_id", kind="text", meaning="the unit's tag"),
    AnswerColumn(name="section", kind="text", meaning="herm (compressor) or fan"),
    AnswerColumn(name="rated_uf", kind="number", meaning="rated capacitance", unit="microfarads"),
    AnswerColumn(name="pct", kind="number", meaning="true deviation from rated; negative = lost", unit=_PCT),
    AnswerColumn(name="low", kind="number", meaning="low end of pct", unit=_PCT),
    AnswerColumn(name="high", kind="number", meaning="high end of pct", unit=_PCT),
    AnswerColumn(
        name="slope_pct_per_year", kind="number", meaning="change a year; negative = losing", unit=f"{_PCT} a year"
    ),
    AnswerColumn(name="leaves_tolerance_low", kind="text", meaning=f"earliest day, ISO, or {NEVER}"),
    AnswerColumn(name="leaves_tolerance", kind="text", meaning=f"middle day, ISO, or {NEVER}"),
    AnswerColumn(name="leaves_tolerance_high", kind="text", meaning=f"latest day, ISO, or {NEVER}"),
    AnswerColumn(name="advice", kind="text", meaning="leave, measure again, change or no reading"),
    AnswerColumn(name="tolerance_pct", kind="number", meaning="marked tolerance, else 6", unit=_PCT),
    AnswerColumn(name="p_out", kind="number", meaning="chance that it is below tolerance now"),
    AnswerColumn(name="readings", kind="count", meaning="readings the estimate rests on"),
    AnswerColumn(name="last_reading", kind="date", meaning="day of the last reading; blank: none of this part"),
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="note", kind="text", meaning="what to know about this row"),
)

_METHOD = (
    "Linear mixed model of the log of measured over rated: part's level and slope, slopes of section and model family, "
    "meters and noise, spreads by marginal likelihood with weak priors; prediction keeps all their uncertainty."
)


def estimate_drift(histories: Histories, *, level: float = LEVEL) -> Answer:
    """Say how far each capacitor section in service is from rated, and when it leaves tolerance.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of the intervals of the deviation and of the day.

    Returns
    -------
    Answer
        One row a run-capacitor section (herm, fan) of every unit in service with a rated value or readings
        (`COLUMNS`). Sections without a reading have their kind's value and the advice "no reading".

    Raises
    ------
    AnalysisError
        When the level is out of range.

    Notes
    -----
    A new part begins at each fitting, and where readings jump up further than drift and noise explain. Time counts from
    the part's birth where the log saw it, else from its first reading. Zeros, absurd readings and collapsed sections
    never average in; where such a reading is the last of the part in service, the row says so. "Below
    tolerance" is not "failed": out of tolerance is a reason to change a part in hand.
    """
    check_level(level)
    parts, fit, odd, first = fitted_drift(histories)
    sections = parts.sections.loc[parts.sections["in_service"]]
    table = _table(parts, fit, sections, (histories.as_of, level))
    _mark_last_readings(table, first, fit, odd, level, histories.as_of)
    table = table.sort_values(["property", "building", "equipment_id", "section"], ascending=[True, True, True, False])
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="drift",
        method=_METHOD,
        n_used=len(parts.readings),
        notes=_notes(table, parts, fit, odd),
        excluded=_excluded(histories, first, odd),
        settings={"level": level, "tolerance_pct": TOLERANCE_PCT},
    )


def fitted_drift(histories: Histories) -> tuple[DriftParts, MixedDrift, OddReadings, DriftParts]:
    """Fit the drift model: once on all readings, then without what drift can't explain; return both sets of parts."""
    first = drift_parts(histories)
    design = first.design()
    fit = fit_mixed_drift(design)
    odd = find_odd_readings(design, fit)
    parts = first.without(odd.falls | odd.slips, odd.jumps)
    return parts, fit_mixed_drift(parts.design(), start=fit), odd, first


def sections_outside_tolerance(answer: Answer, *, chance: float = CHANGE_AT) -> pd.DataFrame:
    """Return the rows of `estimate_drift` whose chance of being below tolerance is at least ``chance``."""
    table = answer.to_frame()
    return table.loc[table["p_out"] >= chance].reset_index(drop=True)


def _table(parts: DriftParts, fit: MixedDrift, sections: pd.DataFrame, asked: tuple[dt.date, float]) -> pd.DataFrame:
    as_of, level = asked
    code = sections.index.to_numpy(dtype=np.intp)
    at = ((pd.Timestamp(as_of) - sections["origin"]).dt.days / DAYS_PER_YEAR).to_numpy(dtype=np.float64)
    shared_level, shared_slope = parts.shared(code, at)
    lines = fit.lines(code, at, shared_level, shared_slope)
    tolerance = sections["tolerance_pct"].fillna(TOLERANCE_PCT).to_numpy(dtype=np.float64)
    edge = 100.0 * np.log1p(-np.clip(tolerance, 0.1, 99.0) / 100.0)
    mean, sd = lines.ahead(0.0)
    half = float(special.ndtri(0.5 + level / 2.0)) * sd
    count = np.bincount(parts.readings["part"].to_numpy(dtype=np.intp), minlength=len(parts.sections))[code]
    last = parts.readings.groupby("part")["day"].max().reindex(code)
    days = _crossing_days(lines, edge, as_of, level)
    table = sections[["equipment_id", "section", "rated_uf", "building", "property", "unit_id", "nth"]].assign(
        pct=_percent(mean),
        low=_percent(mean - half),
        high=_percent(mean + half),
        slope_pct_per_year=lines.slope * np.exp(mean / 100.0),
        leaves_tolerance_low=days[0],
        leaves_tolerance=days[1],
        leaves_tolerance_high=days[2],
        tolerance_pct=tolerance,
        p_out=special.ndtr((edge - mean) / sd),
        readings=count,
        last_reading=pd.Series([_date(day) for day in last], index=sections.index, dtype=object),
    )
    next_mean, next_sd = lines.ahead(1.0)
    table["advice"] = _advice(table, np.asarray(special.ndtr((edge - next_mean) / next_sd)))
    table["note"] = np.where(count == 0, "not measured: its kind's value", "")
    high = (count > 0) & (table["pct"] > tolerance)
    table.loc[high, "note"] = "reads above tolerance: suspect the meter or a wrong part"
    table.loc[high, "advice"] = "measure again"
    _blank_unrated(table)
    return table


def _advice(table: pd.DataFrame, p_in_a_year: FloatArray) -> pd.Series:
    said = np.where(p_in_a_year >= MEASURE_AT, "measure again", "leave")
    said = np.where(table["p_out"] >= CHANGE_AT, "change", said)
    return pd.Series(np.where(table["readings"] == 0, "no reading", said), index=table.index, dtype=object)


def _crossing_days(lines: PredictedLines, edge: FloatArray, as_of: dt.date, level: float) -> list[list[str]]:
    """Return the days by which a section is below tolerance with low, even and high chance, or words."""
    months = np.arange(12 * HORIZON_YEARS + 1)
    chances = [0.5 - level / 2.0, 0.5, 0.5 + level / 2.0]
    found = [np.full(edge.shape, np.nan) for _ in chances]
    before = np.zeros(edge.shape)
    for month in months:
        mean, sd = lines.ahead(month / 12.0)
        # a slope may be taken for rising by chance; a section once below stays below
        now = np.maximum(special.ndtr((edge - mean) / sd), before)
        for days, chance in zip(found, chances, strict=True):
            crosses = np.isnan(days) & (now >= chance)
            step = np.where(month > 0, (chance - before) / np.maximum(now - before, 1e-12), 1.0)
            days[crosses] = (month - 1 + step[crosses]) / 12.0 * DAYS_PER_YEAR
        before = now
    return [[_day_text(as_of, days) for days in column] for column in found]


def _day_text(as_of: dt.date, days: float) -> str:
    return NEVER if np.isnan(days) else (as_of + dt.timedelta(days=max(round(days), 0))).isoformat()


def _blank_unrated(table: pd.DataFrame) -> None:
    """Blank what can't be said of a section without a rated value."""
    bare = ~(table["rated_uf"] > 0)
    numbers = ["pct", "low", "high", "slope_pct_per_year", "p_out"]
    table.loc[bare, numbers] = np.nan
    table.loc[bare, ["leaves_tolerance_low", "leaves_tolerance", "leaves_tolerance_high"]] = None
    table.loc[bare, "advice"] = "measure again"
    table.loc[bare, "note"] = "no rated value is recorded: write down what the label says"


def _mark_last_readings(
    table: pd.DataFrame, first: DriftParts, fit: MixedDrift, odd: OddReadings, level: float, as_of: dt.date
) -> None:
    """Take the last reading at its word where it is an open, collapsed or fallen section of the part in service."""
    fallen = first.readings.loc[odd.falls]
    bias = fit.effects[fit.effects.size - len(first.meters) :]
    fell = fallen.assign(dev_pct=_percent(fallen["level"].to_numpy() - bias[fallen["meter"].to_numpy(dtype=np.intp)]))
    doubtful = pd.concat([f for f in (first.collapsed, fell) if len(f)]) if len(fell) + len(first.collapsed) else fell
    if doubtful.empty:
        return
    latest = doubtful.sort_values("day").drop_duplicates(["unit_id", "nth", "section"], keep="last")
    here = table.reset_index().merge(latest[["unit_id", "nth", "section", "day", "dev_pct", "sense"]], how="inner")
    here = here.loc[pd.to_datetime(here["last_reading"]).fillna(pd.Timestamp.min) <= here["day"]].set_index("index")
    here = here.loc[here["rated_uf"] > 0]
    sd = np.hypot(fit.spreads["noise_bench"], fit.spreads["meter"]) * (1.0 + here["dev_pct"] / 100.0)
    scale = float(special.ndtri(0.5 + level / 2.0)) * sd
    index = here.index
    table.loc[index, "pct"] = here["dev_pct"]
    table.loc[index, "low"], table.loc[index, "high"] = here["dev_pct"] - scale, here["dev_pct"] + scale
    table.loc[index, "last_reading"] = pd.Series([_date(day) for day in here["day"]], index=index, dtype=object)
    table.loc[index, "readings"] = here["readings"] + 1
    out = special.ndtr((-here["tolerance_pct"] - here["dev_pct"]) / sd.clip(lower=1e-6))
    table.loc[index, "p_out"] = out
    table.loc[index, "advice"] = np.where(out >= CHANGE_AT, "change", "measure again")
    below = index[out >= CHANGE_AT]
    table.loc[below, ["leaves_tolerance_low", "leaves_tolerance", "leaves_tolerance_high"]] = as_of.isoformat()
    table.loc[index, "note"] = np.where(
        here["sense"] == "open",
        "the last reading was zero, an open section",
        "the last reading fell further than drift explains; taken at its word",
    )


def _notes(table: pd.DataFrame, parts: DriftParts, fit: MixedDrift, odd: OddReadings) -> list[str]:
    outside = int((table["p_out"] >= CHANGE_AT).sum())
    unread = int((table["advice"] == "no reading").sum())
    notes = [
        f"{outside} of {len(table)} sections in service are likelier than not below tolerance now; "
        f"{unread} were never measured as they hang there and stand at their kind's value.",
        "Meters are taken to scatter around the truth, most of them near it; whether all read high or low together "
        "takes a capacitor of known value to see.",
    ]
    unmarked = int(parts.sections.loc[parts.sections["in_service"], "tolerance_pct"].isna().sum())
    if unmarked:
        notes.append(
            f"No tolerance is marked for {unmarked} sections: {TOLERANCE_PCT:g} % is taken "
            "(usual marking, trade habit)."
        )
    if odd.jumps.any():
        notes.append(
            f"{int(odd.jumps.sum())} readings jump up as if the part had been changed unrecorded; "
            "a new part begins there."
        )
    if len(parts.readings):
        spreads = fit.spreads
        notes.append(
            f"One bench reading is good to ±{1.645 * spreads['noise_bench']:.1f} % (90 %), meters differ by "
            f"{spreads['meter']:.1f} % and new parts by {spreads['level_new']:.1f} % (standard deviations)."
        )
    else:
        notes.append("Not enough data: no usable reading, so every section stands at a prior value of the trade.")
    return notes


def _excluded(histories: Histories, first: DriftParts, odd: OddReadings) -> dict[str, int]:
    rows = histories.database.rows("select use, sense, count(*) from history.capacitor_reading group by all")
    tally: dict[str, int] = {}
    for use, sense, n in rows:
        if use != "yes":
            reason = f"readings: {use}" if use != "no sense" else f"readings: {sense}"
            tally[reason] = tally.get(reason, 0) + int(n)
    tally["sections more than 15 % below rated: failed, no drift"] = int((first.collapsed["sense"] == "ok").sum())
    tally["readings that fell further than drift explains"] = int(odd.falls.sum())
    tally["single readings far above the others of the part"] = int(odd.slips.sum())
    return {reason: n for reason, n in tally.items() if n}


def _percent(log_pct: FloatArray) -> FloatArray:
    return np.asarray(100.0 * np.expm1(log_pct / 100.0))


def _date(day: object) -> object:
    return None if pd.isna(day) else pd.Timestamp(day).date()  # type: ignore[arg-type, call-overload]
