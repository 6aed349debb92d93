"""Which components fail more often than they used to, and by what factor a year?

A place is compared with itself over the log, so places that simply fail more make no trend, and the months' share of
failures is taken out first, so the log's odd months make none either.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from fleet.analysis.poisson import benjamini_hochberg, check_level
from fleet.analysis.recurrence import fit_power_law, laplace_trend
from fleet.analysis.trends import FEWEST_UNITS, log_linear_trend, power_law_limits, robust_trend
from fleet.analysis.watched_units import Watch, read_watch, without_season
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR, LEVEL
from fleet.trade.components import COMPONENTS

FEWEST_FAILURES = 10
"""With fewer failures no trend is tested."""

FALSE_DISCOVERY = 0.10

COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="blank = all together"),
    AnswerColumn(name="component", kind="text", meaning="what failed; blank = all components"),
    AnswerColumn(name="failures", kind="count", meaning="failures at risk time"),
    AnswerColumn(name="units", kind="count", meaning="places (tags) at which something failed"),
    AnswerColumn(name="unit_years", kind="number", meaning="time watched", unit="unit-years of 365.25 days"),
    AnswerColumn(name="yearly_factor", kind="number", meaning="by what factor failures grow more frequent each year"),
    AnswerColumn(name="low", kind="number", meaning="its lower bound"),
    AnswerColumn(name="high", kind="number", meaning="its upper bound"),
    AnswerColumn(
        name="laplace_z", kind="number", meaning="Laplace's test: above zero faster; failures taken as independent"
    ),
    AnswerColumn(name="p_value", kind="number", meaning="two-sided, from the test that bears failures in clusters"),
    AnswerColumn(
        name="age_shape", kind="number", meaning="power law of unit age: above 1, older units fail more often"
    ),
    AnswerColumn(name="age_shape_low", kind="number", meaning="its lower bound"),
    AnswerColumn(name="age_shape_high", kind="number", meaning="its upper bound"),
    AnswerColumn(name="verdict", kind="text", meaning="more frequent, less frequent, or can't tell"),
    AnswerColumn(name="note", kind="text", meaning="why a cell is blank"),
)

CAUTION = (
    "The trend compares each place with itself over the log, the month of the year taken out; age and date pass "
    "together there, so it can't say whether units age or summers grew hotter."
)

_METHOD = (
    "Log-linear trend given each place's count, month of the year taken out, limits clustered by place; robust Laplace "
    "test (Lawless, Cigsar and Cook 2012); power law of unit age over windows (Crow 1974); Benjamini-Hochberg at 10 %."
)


def compare_trends(histories: Histories, *, level: float = LEVEL) -> Answer:
    """Say which components fail more often than they used to, by what factor a year.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of the limits.

    Returns
    -------
    Answer
        One row a component and one for all together, component blank (`COLUMNS`). ``verdict`` speaks only after
        false-discovery control over the components (10 %).

    Raises
    ------
    AnalysisError
        When the level is out of range.

    Notes
    -----
    ``yearly_factor`` compares a place (tag) with itself, through replacements of its unit: each place's own rate is
    conditioned away, and the months' share of the component's failures is taken out first, so a log that ends after a
    summer shows no trend for that. The last ``chain_days`` of a place given up for good are left off, because a failure
    may be why it was. Age and date pass together, and a hot summer at the end looks like a trend; ``age_shape`` also
    compares units of different age. Under 10 failures nothing is tested.
    """
    check_level(level)
    histories.database.run_file("fleet.analysis", "recurrence_windows")
    seen = {row[0] for row in histories.database.rows("select distinct component from history.repeated")}
    names = [c.name for c in COMPONENTS if c.name in seen]
    rows = [trend_row(name, read_watch(histories, name or None), histories.chain_days, level) for name in [*names, ""]]
    table = pd.DataFrame(rows)
    tested = (table["component"] != "").to_numpy()
    named = np.zeros(len(table), dtype=bool)
    named[tested] = benjamini_hochberg(table.loc[tested, "p_value"].to_numpy(float), FALSE_DISCOVERY)
    alone = ~tested & (table["p_value"].to_numpy(float) <= 1.0 - level)
    table["verdict"] = _verdicts(table, named | alone)
    found = int(named.sum())
    verb = "shows" if found == 1 else "show"
    said = f"{found} of {len(names)} components {verb} a trend, false discovery held to 10 %."
    return answer_from(
        histories,
        table.assign(property=""),
        COLUMNS,
        name="trends",
        method=_METHOD,
        n_used=int(table.loc[table["component"] == "", "failures"].sum()),
        notes=[said, CAUTION],
        settings={"level": level},
    )


def trend_row(component: str, watch: Watch | None, end_days: int, level: float) -> dict[str, object]:
    """Return one component's row of `COLUMNS` (without ``property`` and ``verdict``).

    ``end_days`` are left off the end of places given up for good, because a failure may be why they were.
    """
    row: dict[str, object] = dict.fromkeys([c.name for c in COLUMNS if c.kind == "number"], math.nan)
    row |= {"component": component, "failures": 0, "units": 0, "unit_years": 0.0, "note": "nobody was watched"}
    if watch is None:
        return row
    n, units = watch.when.size, int(np.unique(watch.place[watch.owner]).size)
    row |= {"failures": n, "units": units, "unit_years": float((watch.stop - watch.start).sum()) / DAYS_PER_YEAR}
    if n < FEWEST_FAILURES:
        return row | {"note": f"under {FEWEST_FAILURES} failures: not enough data for a trend"}
    kept = watch.by_place().without_end(end_days)
    windows = without_season(kept)
    trend = log_linear_trend(*windows, belongs_to=kept.place)
    laplace, robust = (test(*windows, belongs_to=kept.place) for test in (laplace_trend, robust_trend))
    if trend is not None:
        bounds = trend.interval(level)
        row |= {"yearly_factor": math.exp(trend.slope), "low": math.exp(bounds.low), "high": math.exp(bounds.high)}
    row |= {"laplace_z": laplace.z if laplace else math.nan, "p_value": robust.p_value if robust else math.nan}
    row["note"] = "" if robust else f"under {FEWEST_UNITS} places failed: how sure a trend is can't be told"
    return row | _age_shape(watch.by_age(), level)


def _age_shape(aged: Watch, level: float) -> dict[str, object]:
    if aged.when.size < FEWEST_FAILURES:
        return {}
    data = (aged.start / DAYS_PER_YEAR, aged.stop / DAYS_PER_YEAR, aged.owner, aged.when / DAYS_PER_YEAR)
    fit = fit_power_law(*data)
    if fit is None:
        return {}
    bounds = power_law_limits(fit, *data, level=level, belongs_to=aged.unit)
    return {"age_shape": fit.shape, "age_shape_low": bounds.low, "age_shape_high": bounds.high}


def _verdicts(table: pd.DataFrame, sure: np.ndarray) -> list[str]:
    return [
        ("more frequent" if factor > 1 else "less frequent") if told and not math.isnan(factor) else "can't tell"
        for factor, told in zip(table["yearly_factor"].to_numpy(float), sure, strict=True)
    ]


def verdict_sentence(trend: dict[str, object], level: float) -> str:
    """Say a trend row in one sentence."""
    what = f"Taken alone, failures of the {trend['component']}" if trend["component"] else "Failures"
    if trend["note"]:
        return f"Whether failures grow more frequent can't be told: {trend['note']}."
    factor, low, high = (float(trend[name]) for name in ("yearly_factor", "low", "high"))  # type: ignore[arg-type]
    bounds = f"{100 * level:g} % interval {low:.2f} to {high:.2f}"
    if low <= 1 <= high:
        return f"{what} show no trend that can be told from none: {factor:.2f} times as many each year ({bounds})."
    way = "more" if factor > 1 else "less"
    return f"{what} grow {way} frequent: each year they come {factor:.2f} times as often as the year before ({bounds})."
