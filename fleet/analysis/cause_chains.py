"""What follows what? Failures of one component after another's on the same unit, beyond what chance brings.

A weak capacitor that is changed twice and then the compressor, a fan motor after a capacitor: where one failure follows
another more often than the unit's own rates lead one to expect, the first was perhaps no cause but a sign.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats

from fleet.analysis.poisson import FloatArray, benjamini_hochberg, check_level, garwood_limits
from fleet.analysis.seasonal_exposure import IntArray, SeasonalClock, fit_seasonal_clock, ordinal, ordinals
from fleet.analysis.shrinkage import shrink_rates
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL

WINDOW_DAYS = 180
TWICE_DAYS = 365
"""Two failures of a component at most so far apart count as one first link, 'twice'."""

LEAST_FIRST = 5
"""Fewer first links than this say nothing of what follows."""

FALSE_DISCOVERY = 0.10

COLUMNS = (
    AnswerColumn(name="first", kind="text", meaning="the component that failed first"),
    AnswerColumn(name="times", kind="text", meaning="once, or twice within a year"),
    AnswerColumn(name="then", kind="text", meaning="the component that failed after it"),
    AnswerColumn(name="cases", kind="count", meaning="first failures with time behind them"),
    AnswerColumn(name="followed", kind="count", meaning="those followed within the window"),
    AnswerColumn(name="expected", kind="number", meaning="those that chance would have followed", unit="cases"),
    AnswerColumn(name="ratio", kind="number", meaning="followed ÷ expected"),
    AnswerColumn(name="low", kind="number", meaning="low end of ratio (exact Poisson)"),
    AnswerColumn(name="high", kind="number", meaning="high end of ratio"),
    AnswerColumn(name="p_value", kind="number", meaning="chance of so many or more (exact Poisson, mid-P)"),
    AnswerColumn(name="alert", kind="yesno", meaning="more than chance allows, false discovery 10 % over all pairs"),
    AnswerColumn(name="median_days", kind="number", meaning="half of them follow within so many days", unit="days"),
    AnswerColumn(name="chain_cost", kind="money", meaning="mean recorded money of both together", unit="money"),
    AnswerColumn(name="single_cost", kind="money", meaning="mean recorded money of a first one alone", unit="money"),
    AnswerColumn(name="property", kind="text", meaning="blank: all together"),
    AnswerColumn(name="note", kind="text", meaning="what to know about this row"),
)

_METHOD = (
    "First failures followed by another within the window against those expected: the sum of 1 − exp(−rate × "
    "season-weighted time ahead), each unit's rate of the second component shrunk (gamma-Poisson) toward what its "
    "failures of all components lead one to expect; "
    "exact Poisson limits; false discovery control over all pairs of components."
)


def find_cause_chains(histories: Histories, *, level: float = LEVEL, window_days: int = WINDOW_DAYS) -> Answer:
    """Say which failures follow which on one unit, beyond chance, and what such a chain costs.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of ``low`` and ``high``.
    window_days : int
        The second failure's first report comes at most so many days after the first failure's last visit (1 to 730).

    Returns
    -------
    Answer
        One row a pair of components seen or expected at least half a time, smallest p-value first (`COLUMNS`).

    Raises
    ------
    AnalysisError
        When the level or window is out of range.

    Notes
    -----
    Chains of visits for one fault are one failure already (``--chain-days``). That one failure follows another isn't
    proof that it caused it: heat, voltage and one pair of hands bring both. Of several first ones before a failure each
    counts; of several failures after a first one the earliest does.
    """
    check_level(level)
    if not 1 <= window_days <= 730:
        msg = f"window_days = {window_days} must lie between 1 and 730"
        raise AnalysisError(msg)
    histories.database.run_file("fleet.analysis", "cost_visit")
    histories.database.run_file("fleet.analysis", "chain_pair")
    failures = histories.database.frame("select * from history.failure order by unit_id, failed_on, chain_id")
    observed = histories.database.frame("select unit_id, from_day, to_day from history.observed order by all")
    table = count_chains(failures, observed, as_of_day=ordinal(histories.as_of), window_days=window_days, level=level)
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="cause chains",
        method=_METHOD,
        n_used=len(failures),
        notes=_notes(table, window_days),
        settings={"level": level, "window_days": window_days, "twice_days": TWICE_DAYS},
    )


def count_chains(
    failures: pd.DataFrame, observed: pd.DataFrame, *, as_of_day: int, window_days: int, level: float = LEVEL
) -> pd.DataFrame:
    """Count what follows what, beside what chance brings.

    Parameters
    ----------
    failures : DataFrame
        One row a failure, by unit and day: unit_id, component, failed_on, last_day, service_to (missing while in
        service), cost.
    observed : DataFrame
        One row a stretch at risk: unit_id, from_day, to_day (the day after the last).
    as_of_day : int
        The log's last day (days since 1970).
    window_days : int
        How far behind a first failure the second may come.
    level : float
        Two-sided level.

    Returns
    -------
    DataFrame
        The columns of ``COLUMNS``.
    """
    rows: list[dict[str, object]] = []
    if len(failures):
        starts, ends = ordinals(observed["from_day"]), ordinals(observed["to_day"])
        clock = fit_seasonal_clock(ordinals(failures["failed_on"]), starts, ends)
        years = pd.Series(clock.years(starts, ends)).groupby(observed["unit_id"].to_numpy()).sum()
        firsts = _firsts(failures)
        ahead_end = _window_end(firsts, window_days, as_of_day)
        factors = _unit_factors(failures, years)
        for then, seconds in failures.groupby("component"):
            rate = _unit_rates(seconds, years, factors)
            rows += _followers(str(then), seconds, firsts, (ahead_end, rate, clock), level)
    table = pd.DataFrame(rows, columns=[c.name for c in COLUMNS])
    kept: pd.DataFrame = table.loc[(table["followed"] > 0) | (table["expected"] >= 0.5)].reset_index(drop=True)
    able = (kept["cases"] >= LEAST_FIRST).to_numpy()
    p_values = np.where(able, kept["p_value"].to_numpy(dtype=np.float64), np.nan)
    named = benjamini_hochberg(p_values, FALSE_DISCOVERY) & (kept["followed"] >= 3).to_numpy()
    kept["alert"] = np.where(named, "yes", "no")
    kept.loc[~able, "note"] = f"fewer than {LEAST_FIRST} first failures: too few to say"
    return kept.sort_values(["p_value", "first", "times", "then"], kind="stable")


def _firsts(failures: pd.DataFrame) -> pd.DataFrame:
    """Return the first links: every failure once, and the later of two of a component within a year."""
    last = ordinals(failures["last_day"])
    once = failures.assign(times="once", day=last, retired=_days_or(failures["service_to"], np.iinfo(np.int64).max))
    before = once.groupby(["unit_id", "component"])["day"].shift(1)
    twice = once.loc[(once["day"] - before) <= TWICE_DAYS].assign(times="twice within a year")
    return pd.concat([once, twice], ignore_index=True)


def _days_or(days: pd.Series, other: int) -> IntArray:
    known = days.notna().to_numpy()
    found = np.full(len(days), other, dtype=np.int64)
    found[known] = ordinals(days[known])
    return found


def _window_end(firsts: pd.DataFrame, window_days: int, as_of_day: int) -> IntArray:
    end = np.minimum(firsts["day"].to_numpy(dtype=np.int64) + window_days, as_of_day)
    return np.asarray(np.minimum(end, firsts["retired"].to_numpy(dtype=np.int64)), dtype=np.int64)


def _unit_factors(failures: pd.DataFrame, years: pd.Series) -> pd.Series:
    """Return by how many times each unit fails more than the fleet, all components together, shrunk."""
    shrunk = shrink_rates(*_counts(failures, years))
    factor = np.where(np.isfinite(shrunk.mean), shrunk.mean / shrunk.mean_rate, 1.0) if shrunk.mean_rate > 0 else 1.0
    return pd.Series(factor, index=years.index)


def _unit_rates(seconds: pd.DataFrame, years: pd.Series, factors: pd.Series) -> pd.Series:
    """Return each unit's rate of one component's failures, a season-weighted year.

    A unit that fails more in all components is taken to do so in this one, and is then shrunk by its own failures.
    """
    counts, exposed = _counts(seconds, years)
    usual = exposed * factors.to_numpy(dtype=np.float64)
    shrunk = shrink_rates(counts, usual)
    mean = shrunk.mean_rate if np.isfinite(shrunk.mean_rate) else 0.0
    return pd.Series(np.where(np.isfinite(shrunk.mean), shrunk.mean, mean), index=years.index) * factors


def _counts(failures: pd.DataFrame, years: pd.Series) -> tuple[FloatArray, FloatArray]:
    """Return each unit's failures and weighted years; failures without any time at risk don't count."""
    exposed = years.to_numpy(dtype=np.float64)
    counts = failures.groupby("unit_id").size().reindex(years.index).fillna(0.0).to_numpy(dtype=np.float64)
    return np.where(exposed > 0, counts, 0.0), exposed


def _followers(
    then: str,
    seconds: pd.DataFrame,
    firsts: pd.DataFrame,
    ahead: tuple[IntArray, pd.Series, SeasonalClock],
    level: float,
) -> list[dict[str, object]]:
    """Return one row a first component and number of times, for one component that may follow."""
    end, rates, clock = ahead
    start = firsts["day"].to_numpy(dtype=np.int64)
    rate = firsts["unit_id"].map(rates).fillna(0.0).to_numpy(dtype=np.float64)
    chance = -np.expm1(-rate * clock.years(start + 1, np.maximum(end, start) + 1))
    gap, cost = _next_failure(firsts, seconds)
    followed = gap <= end - start
    table = firsts.assign(chance=chance, followed=followed, gap=np.where(followed, gap, np.nan), second_cost=cost)
    table = table.loc[end > start]
    rows = []
    for (first, times), group in table.groupby(["component", "times"]):
        rows.append(_row((str(first), str(times), then), group, level))
    return rows


def _next_failure(firsts: pd.DataFrame, seconds: pd.DataFrame) -> tuple[FloatArray, FloatArray]:
    """Return the days from each first link to the unit's next failure of a component (infinite: none), and its cost."""
    left = firsts[["unit_id", "day"]].reset_index().sort_values("day", kind="stable")
    right = seconds[["unit_id", "cost"]].assign(at=ordinals(seconds["failed_on"])).sort_values("at", kind="stable")
    met = pd.merge_asof(
        left, right, left_on="day", right_on="at", by="unit_id", direction="forward", allow_exact_matches=False
    ).set_index("index").loc[firsts.index]  # fmt: skip
    gap = (met["at"] - met["day"]).to_numpy(dtype=np.float64, na_value=np.inf)
    return np.where(np.isnan(gap), np.inf, gap), met["cost"].to_numpy(dtype=np.float64)


def _row(key: tuple[str, str, str], group: pd.DataFrame, level: float) -> dict[str, object]:
    seen, expected = int(group["followed"].sum()), float(group["chance"].sum())
    low, high = garwood_limits([seen], [expected], level) if expected > 0 else (np.array([np.nan]),) * 2
    chain = group.loc[group["followed"]]
    alone = group.loc[~group["followed"], "cost"]
    return {
        "first": key[0],
        "times": key[1],
        "then": key[2],
        "cases": len(group),
        "followed": seen,
        "expected": expected,
        "ratio": seen / expected if expected > 0 else np.nan,
        "low": low[0],
        "high": high[0],
        "p_value": float(stats.poisson.sf(seen, expected) + 0.5 * stats.poisson.pmf(seen, expected)),
        "median_days": float(chain["gap"].median()) if seen else np.nan,
        "chain_cost": float((chain["cost"] + chain["second_cost"]).mean()) if seen else np.nan,
        "single_cost": float(alone.mean()) if len(alone) else np.nan,
        "property": "",
        "note": "" if expected > 0 else "the component never failed within time at risk",
    }


def _notes(table: pd.DataFrame, window_days: int) -> list[str]:
    n = int((table["alert"] == "yes").sum())
    return [
        f"{n} of {len(table)} pairs follow each other within {window_days} days more often than chance allows; one "
        "after another is no proof of cause: heat, voltage or one pair of hands bring both.",
        "Look behind a part that fails again before fitting a third: supply voltage under load, the fan motor's heat, "
        "the charge, the contactor's points (common practice, no source).",
    ]
