"""How do calls follow heat, and how long do homes wait? Month by month, nights and priority homes apart."""

from __future__ import annotations

from collections.abc import Hashable, Mapping

import numpy as np
import pandas as pd
from scipy import special

from fleet.analysis.poisson import check_level, clopper_pearson, garwood_limits
from fleet.analysis.poisson_regression import fit_poisson
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL
from fleet.store.database import read_sql

MIN_MONTHS = 12
"""Fewer months with weather than this can't say how calls follow heat."""

COLUMNS = (
    AnswerColumn(name="month", kind="text", meaning="month of the report, YYYY-MM"),
    AnswerColumn(name="calls", kind="count", meaning="calls that came in; no rounds, turnovers or follow-ups"),
    AnswerColumn(name="unit_years", kind="number", meaning="time at risk in the month", unit="years"),
    AnswerColumn(name="rate", kind="number", meaning="calls per unit-year"),
    AnswerColumn(name="low", kind="number", meaning="low end of rate"),
    AnswerColumn(name="high", kind="number", meaning="high end of rate"),
    AnswerColumn(
        name="degree_days", kind="number", meaning="cooling degree days of the month, base 65 °F", unit="°F days"
    ),
    AnswerColumn(name="night_share", kind="number", meaning="share of calls after hours, of those whose hour is known"),
    AnswerColumn(name="night_low", kind="number", meaning="low end of night_share"),
    AnswerColumn(name="night_high", kind="number", meaning="high end of night_share"),
    AnswerColumn(
        name="hours_without_cooling", kind="number", meaning="median, report to cooling restored", unit="hours"
    ),
    AnswerColumn(name="hours_without_cooling_p90", kind="number", meaning="nine in ten are shorter", unit="hours"),
    AnswerColumn(name="timed_calls", kind="count", meaning="cooling calls with both times, mended on the first visit"),
    AnswerColumn(name="calls_priority", kind="count", meaning="calls from homes where heat is a danger"),
    AnswerColumn(
        name="hours_priority", kind="number", meaning="median hours without cooling in those homes", unit="hours"
    ),
    AnswerColumn(name="property", kind="text", meaning="the complex; blank: all together"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)


def describe_seasons(histories: Histories, *, level: float = LEVEL) -> Answer:
    """Say how calls follow the months and their heat, how many fall after hours, and how long homes wait.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of the limits of the rate and of the share after hours.

    Returns
    -------
    Answer
        One row a property and month of the log, and each month over all properties with property blank (`COLUMNS`);
        a month without calls has a row too. Degree days over all properties are weighted by time at risk.

    Raises
    ------
    AnalysisError
        When the level is out of range.

    Notes
    -----
    Hours without cooling run from the report to the end of the visit for no cooling, poor cooling or breaker trip that
    restored cooling or replaced the unit; calls that took a second visit waited longer and aren't among them.
    """
    check_level(level)
    histories.database.run_file("fleet.analysis", "season")
    table = histories.database.frame(read_sql("fleet.analysis", "season_rows"))
    table["degree_days"] = table["degree_days"].where(table["days_without_weather"] == 0)
    table["low"], table["high"] = _rate_limits(table, level)
    nights = [
        _share(int(k), int(n), level)
        for k, n in zip(table["night_calls"], table["calls"] - table["hours_unknown"], strict=True)
    ]
    for i, name in enumerate(("night_share", "night_low", "night_high")):
        table[name] = [night[i] for night in nights]
    table["note"] = [_row_note(row) for row in table.to_dict("records")]
    together = table.loc[table["property"] == ""] if (table["property"] == "").any() else table
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="seasons",
        method="Calls per unit-year by month with exact Poisson limits; exact limits of shares; medians of hours.",
        n_used=int(together["calls"].sum()),
        notes=_notes(table, together, level),
        settings={"level": level},
    )


def _rate_limits(table: pd.DataFrame, level: float) -> tuple[np.ndarray, np.ndarray]:
    at_risk = table["unit_years"].to_numpy(dtype=np.float64)
    calls = np.where(at_risk > 0, table["calls"].to_numpy(dtype=np.float64), 0.0)
    return garwood_limits(calls, at_risk, level)


def _share(count: int, n: int, level: float) -> tuple[float, float, float]:
    if n == 0:
        return np.nan, np.nan, np.nan
    limits = clopper_pearson(count, n, level)
    return count / n, limits.low, limits.high


def _row_note(row: Mapping[Hashable, float]) -> str:
    said = []
    if not row["unit_years"]:
        said.append("no time at risk, so no rate")
    if row["days_without_weather"]:
        said.append("weather missing, so no degree days")
    if row["calls"] and row["calls"] == row["hours_unknown"]:
        said.append("no call's hour is known")
    if row["calls"] and not row["timed_calls"]:
        said.append("no cooling call has both times")
    return "; ".join(said)


def _notes(table: pd.DataFrame, together: pd.DataFrame, level: float) -> list[str]:
    notes = []
    warmed = heat_effect(together, level)
    if warmed is not None:
        per_100, low, high = warmed
        notes.append(
            f"Each 100 °F degree days more in a month go with {per_100 - 1:+.0%} calls "
            f"({low - 1:+.0%} to {high - 1:+.0%})."
        )
    else:
        notes.append(f"Not enough data to say how calls follow heat: under {MIN_MONTHS} months with weather and calls.")
    unknown = int(together["hours_unknown"].sum())
    if unknown:
        notes.append(
            f"The hour of {unknown} of {int(together['calls'].sum())} calls isn't known; "
            "the night share leaves them out."
        )
    priority = together["calls_priority"].sum()
    if priority:
        notes.append(f"{int(priority)} calls came from homes where heat is a danger to the resident: those go first.")
    return notes


def heat_effect(months: pd.DataFrame, level: float = LEVEL) -> tuple[float, float, float] | None:
    """Return by what factor calls rise with 100 degree days more in a month, with its limits; None with too few months.

    Parameters
    ----------
    months : pandas.DataFrame
        Columns calls, unit_years and degree_days, one row a month.
    level : float
        Two-sided level.

    Notes
    -----
    Poisson regression on degree days with time at risk; limits widened by the spread of the months (Pearson).
    """
    known = months.loc[months["degree_days"].notna() & (months["unit_years"] > 0)]
    if len(known) < MIN_MONTHS or known["calls"].sum() < MIN_MONTHS or known["degree_days"].nunique() < 2:
        return None
    heat = known["degree_days"].to_numpy(dtype=np.float64) / 100.0
    design = np.column_stack([np.ones(len(known)), heat])
    counts, years = known["calls"].to_numpy(dtype=np.float64), known["unit_years"].to_numpy(dtype=np.float64)
    try:
        fit = fit_poisson(design, counts, exposure=years)
    except AnalysisError:
        return None
    mean = np.exp(design @ fit.coefficients) * years
    spread = max(1.0, float(((counts - mean) ** 2 / mean).sum()) / (len(known) - 2))
    z = abs(float(np.sqrt(spread * fit.covariance[1, 1]))) * float(special.ndtri(0.5 + level / 2.0))
    slope = float(fit.coefficients[1])
    return float(np.exp(slope)), float(np.exp(slope - z)), float(np.exp(slope + z))
