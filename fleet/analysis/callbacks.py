"""Whose work comes back? Calls to a unit soon after the last one, beyond those that chance brings anyway.

A unit that calls four times a year would call again within thirty days now and then if every repair held. So the
calls that came back are set against those expected: each unit's own rate, shrunk toward the fleet's, in that season.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy import stats

from fleet.analysis.poisson import FloatArray, benjamini_hochberg, check_level, clopper_pearson
from fleet.analysis.seasonal_exposure import SeasonalClock, fit_seasonal_clock, ordinal, ordinals
from fleet.analysis.shrinkage import MIN_GROUPS, fit_gamma_prior, shrink_rates
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL

WINDOW_DAYS = 30
"""A further call to the unit within this many days is a return (common practice, no source)."""

FEW_CALLS = 10

KINDS = ("finding", "technician", "vendor")

UNLIKE = 2.0
ALIKE = 100.0
"""Returns as usual that at most are added to a finding's own: findings that seem alike aren't wholly alike."""

COLUMNS = (
    AnswerColumn(name="by", kind="text", meaning="all, finding, technician or vendor"),
    AnswerColumn(name="value", kind="text", meaning="which finding, technician or vendor; blank for all"),
    AnswerColumn(name="calls", kind="count", meaning="finished calls that are not themselves call-backs"),
    AnswerColumn(name="returned", kind="count", meaning="those followed by a further call within the window"),
    AnswerColumn(
        name="expected", kind="number", meaning="returns that chance brought where the repair held", unit="calls"
    ),
    AnswerColumn(name="share", kind="number", meaning="returned beyond chance ÷ calls"),
    AnswerColumn(name="low", kind="number", meaning="low end of share; below zero where chance explains more"),
    AnswerColumn(name="high", kind="number", meaning="high end of share"),
    AnswerColumn(name="usual_share", kind="number", meaning="the share of others' work on the same findings"),
    AnswerColumn(
        name="usual_low", kind="number", meaning="low end of the shares that work like others' shows in so many calls"
    ),
    AnswerColumn(name="usual_high", kind="number", meaning="high end of them"),
    AnswerColumn(name="p_value", kind="number", meaning="chance of so many returns or more, were it like others' work"),
    AnswerColumn(name="alert", kind="yesno", meaning="more returns than others' work brings, false discovery 10 %"),
    AnswerColumn(name="property", kind="text", meaning="blank: all together"),
    AnswerColumn(name="note", kind="text", meaning="what to know about this row"),
)

_METHOD = (
    "Returns within the window against those expected by chance, the sum of 1 − exp(−rate × season-weighted time) "
    "with each unit's rate shrunk (gamma-Poisson) toward the fleet's; exact binomial limits on the returns; people and "
    "firms against others' work on the same findings."
)


def count_callbacks(histories: Histories, *, level: float = LEVEL, window_days: int = WINDOW_DAYS) -> Answer:
    """Say how often work came back, by finding, technician and vendor, beyond what chance brings.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of ``low`` and ``high``.
    window_days : int
        A further call reported within this many calendar days of the last is a return (1 to 365).

    Returns
    -------
    Answer
        One row for all calls, then one a finding, technician and vendor (`COLUMNS`).

    Raises
    ------
    AnalysisError
        When the window or level is out of range.

    Notes
    -----
    A call is a visit that isn't preventive maintenance, turnover or no access. A follow-up after "waiting for part" or
    "temporary" was planned and belongs to the call it finishes; who and what are those of the finishing visit. The
    unit's rate counts calls that aren't returns over the time outside the windows after calls, the index call
    included: with it the expected returns of a fleet without any call-back come out right, without it they come out
    low, because calls pick the units that call often (tests/unit/test_callbacks.py shows both). A call-back leaves
    chance nothing to bring, so share = (returned − chance) ÷ (calls − chance) and ``expected`` is what chance brought
    to the calls whose repair held: share × calls + expected = returned.
    """
    check_level(level)
    if not 1 <= window_days <= 365:
        msg = f"window_days = {window_days} must lie between 1 and 365"
        raise AnalysisError(msg)
    histories.database.run_file("fleet.analysis", "job")
    jobs = histories.database.frame("select * from history.job order by job_id")
    observed = histories.database.frame("select unit_id, from_day, to_day from history.observed order by all")
    jobs, n_short = expect_returns(jobs, observed, as_of=histories.as_of, window_days=window_days)
    calls = jobs.loc[~jobs["is_callback"]]
    table = pd.DataFrame(_rows(calls, level), columns=[column.name for column in COLUMNS])
    table["alert"] = _alerts(table)
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="callbacks",
        method=_METHOD,
        n_used=len(calls),
        notes=_notes(jobs, n_short, window_days),
        excluded={"calls that are themselves call-backs": int(jobs["is_callback"].sum())},
        settings={"level": level, "window_days": window_days},
    )


def expect_returns(
    jobs: pd.DataFrame, observed: pd.DataFrame, *, as_of: dt.date, window_days: int
) -> tuple[pd.DataFrame, int]:
    """Say of each job whether it came back, and with what chance it would have come back anyway.

    Parameters
    ----------
    jobs : DataFrame
        One row a call (``sql/job.sql``): unit_id, first_day, last_day, days_after_last and days_to_next (missing where
        there is no other), service_to (missing while in service).
    observed : DataFrame
        One row a stretch at risk: unit_id, from_day, to_day (the day after the last).
    as_of : datetime.date
        The log's last day.
    window_days : int
        Days within which a further call is a return.

    Returns
    -------
    jobs : DataFrame
        With is_callback (it came back itself), returned, and expected (the chance of a call within the window).
    n_short : int
        Calls, not call-backs themselves, whose window the log or the unit's end cuts short.
    """
    jobs = jobs.assign(
        is_callback=jobs["days_after_last"].le(window_days).fillna(value=False).astype(bool),
        returned=jobs["days_to_next"].le(window_days).fillna(value=False).astype(bool),
        expected=0.0,
    )
    if jobs.empty:
        return jobs, 0
    from_days, to_days = ordinals(observed["from_day"]), ordinals(observed["to_day"])
    first, last = ordinals(jobs["first_day"]), ordinals(jobs["last_day"])
    fresh = ~jobs["is_callback"].to_numpy()
    clock = fit_seasonal_clock(first[fresh], from_days, to_days)
    end = np.minimum(last + window_days, ordinal(as_of))
    retired = np.asarray(jobs["service_to"].notna())
    end[retired] = np.minimum(end[retired], ordinals(jobs.loc[retired, "service_to"]))
    ahead = clock.years(last + 1, end + 1)
    at_risk = pd.Series(clock.years(from_days, to_days)).groupby(observed["unit_id"].to_numpy()).sum()
    rate = _unit_rates(jobs, fresh, at_risk, _time_after_calls(jobs, last, ahead, clock))
    return jobs.assign(expected=-np.expm1(-rate * ahead)), int(((end < last + window_days) & fresh).sum())


def _time_after_calls(jobs: pd.DataFrame, last: np.ndarray, ahead: FloatArray, clock: SeasonalClock) -> FloatArray:
    """Return the weighted time after each job in which a call would be a return, overlaps counted once."""
    gap = jobs["days_to_next"].to_numpy(dtype=np.float64, na_value=np.inf)
    to_next = np.where(np.isfinite(gap), gap, 0.0).astype(np.int64)
    return np.where(np.isfinite(gap), np.minimum(ahead, clock.years(last + 1, last + 1 + to_next)), ahead)


def _unit_rates(jobs: pd.DataFrame, fresh: np.ndarray, at_risk: pd.Series, spent: FloatArray) -> FloatArray:
    """Return each job's unit's shrunk rate of calls that aren't returns, a season-weighted year."""
    frame = pd.DataFrame({"unit_id": jobs["unit_id"], "n": fresh.astype(np.float64), "spent": spent})
    units = frame.groupby("unit_id")[["n", "spent"]].sum()
    units = units.join(at_risk.rename("years"), how="outer").fillna(0.0)
    years = (units["years"] - units["spent"]).clip(lower=0.0).to_numpy(dtype=np.float64)
    # calls in time taken out of the log would have no time at risk beside them
    shrunk = shrink_rates(np.where(years > 0, units["n"], 0.0), years)
    usual = shrunk.mean_rate if np.isfinite(shrunk.mean_rate) else 0.0
    rates = pd.Series(np.where(np.isfinite(shrunk.mean), shrunk.mean, usual), index=units.index)
    return np.asarray(rates.loc[jobs["unit_id"]], dtype=np.float64)


def _rows(calls: pd.DataFrame, level: float) -> Iterator[dict[str, object]]:
    named = calls.assign(
        finding=calls["finding"].fillna("not recorded"),
        technician=calls["technician"].replace("", None),
        vendor=calls["vendor"].replace("", None),
    )
    yield _row(named, level) | {"by": "all", "value": ""}
    for by in KINDS:
        for value, group in named.groupby(by, sort=True):
            others = named.loc[named[by].ne(value)]
            yield _row(group, level) | {"by": by, "value": str(value)} | _compared(group, others, by, level)


def _row(calls: pd.DataFrame, level: float) -> dict[str, object]:
    n, returned, chance = len(calls), int(calls["returned"].sum()), float(calls["expected"].sum())
    row: dict[str, object] = {
        "calls": n,
        "returned": returned,
        "expected": chance,
        "share": np.nan,
        "low": np.nan,
        "high": np.nan,
        "usual_share": np.nan,
        "usual_low": np.nan,
        "usual_high": np.nan,
        "p_value": np.nan,
        "property": "",
        "note": "no calls, so no share" if n == 0 else "",
    }
    if n:
        limits, share = clopper_pearson(returned, n, level), beyond_chance(returned, chance, n)
        row |= {
            "share": share,
            "low": beyond_chance(limits.low * n, chance, n),
            "high": beyond_chance(limits.high * n, chance, n),
            "expected": returned - share * n,
        }
        if n < FEW_CALLS:
            row["note"] = f"only {n} {'call' if n == 1 else 'calls'}: the interval says how little that tells"
    return row


def beyond_chance(returned: float, chance: float, calls: int) -> float:
    """Return the share of calls that came back for another reason than chance.

    Where a repair doesn't hold, chance has nothing left to bring: of the calls that would hold, chance brings its part.
    Below what chance brings the share is negative, returned less chance a call.
    """
    return (returned - chance) / (calls - chance if returned > chance else calls)


def _compared(group: pd.DataFrame, others: pd.DataFrame, by: str, level: float) -> dict[str, object]:
    """Set a group's returns against everyone else's work on the same findings."""
    if others.empty:
        return {}
    share = _usual_shares(others, group["finding"] if by != "finding" else None)
    chance = group["expected"].to_numpy(dtype=np.float64)
    usual = float(np.mean(chance + (1.0 - chance) * share))
    n, seen = len(group), int(group["returned"].sum())
    low, high = (float(stats.binom.ppf(p, n, usual)) for p in ((1.0 - level) / 2.0, (1.0 + level) / 2.0))
    return {
        "usual_share": float(np.mean(share)),
        "usual_low": beyond_chance(low, float(chance.sum()), n),
        "usual_high": beyond_chance(high, float(chance.sum()), n),
        "p_value": float(stats.binom.sf(seen, n, usual) + 0.5 * stats.binom.pmf(seen, n, usual)),
    }


def _usual_shares(others: pd.DataFrame, findings: pd.Series | None) -> FloatArray:
    """Return the share of others' work that came back, for each finding asked about, shrunk toward that of all."""
    beyond, held = others["returned"] - others["expected"], 1.0 - others["expected"]
    overall = max(float(beyond.sum() / held.sum()), 0.0)
    if findings is None:
        return np.array([overall])
    sums = pd.DataFrame({"finding": others["finding"], "beyond": beyond, "held": held}).groupby("finding").sum()
    usual = overall * sums["held"].to_numpy(dtype=np.float64)
    came = sums["beyond"].clip(lower=0.0).to_numpy(dtype=np.float64)
    if overall == 0.0:
        return np.zeros(len(findings))
    # with two findings nothing says how findings differ
    differ = fit_gamma_prior(np.round(came), usual).shape if len(sums) >= MIN_GROUPS else UNLIKE
    strength = min(differ, ALIKE)
    shares = pd.Series(overall * (came + strength) / (usual + strength), index=sums.index)
    return np.asarray(findings.map(shares).fillna(overall).clip(upper=1.0), dtype=np.float64)


def _alerts(table: pd.DataFrame) -> list[str]:
    """Name the groups whose returns others' work doesn't explain; false discovery control within each kind."""
    alert = pd.Series("no", index=table.index)
    for by in KINDS:
        p_values = table.loc[table["by"] == by, "p_value"]
        named = benjamini_hochberg(p_values.to_numpy(dtype=np.float64), 0.10)
        alert.loc[p_values.index[named]] = "yes"
    return alert.tolist()


def _notes(jobs: pd.DataFrame, n_short: int, window_days: int) -> list[str]:
    notes = [
        f"A return is a further call to the same unit within {window_days} days (common practice, no source), for "
        "whatever fault; a planned follow-up after waiting for part or a temporary repair is none.",
        "A return may be another part's fault, a missed cause or a part that died young: look at the visits before "
        "judging a person's work.",
    ]
    if n_short:
        notes.append(
            f"{n_short} calls end less than {window_days} days before the log or the unit does; "
            "returns after that are unseen."
        )
    nobody = int(((jobs["technician"] == "") & (jobs["vendor"] == "")).sum())
    if nobody:
        notes.append(f"{nobody} calls name neither technician nor vendor; they count under all and by finding only.")
    return notes
