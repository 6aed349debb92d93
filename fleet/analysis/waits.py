"""How long are people without cooling, and how hot does it get? Whole calls, from the report until cooling is back.

A call lasts over its planned follow-ups: while a part is awaited, after a temporary repair, when nobody could get in.
Waits that no visit ends lasted at least so long; they are counted so (product-limit curve) rather than dropped.

Sources for the temperatures counted: some local codes set the most a rented home may reach, 85 °F in one city of Texas
(Red Oak, its climate control page), 82 °F in Los Angeles County Code chapter 11.20 (secondary pages), 80 °F in one
county of Maryland (from memory). They differ from place to place; this tool judges nobody by them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from fleet.analysis.poisson import check_level, clopper_pearson
from fleet.analysis.wait_curve import FEWEST_WAITS, WaitSummary, compare_means, compare_medians, summarise_waits
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import LEVEL
from fleet.trade.cautions import cautions_on

GROUPINGS = ("property", "building", "month", "year", "call_type", "component")
"""What waits may be grouped by; component is what the call's last visit found at fault."""

CAP_HOURS = 336.0
"""The mean counts the first two weeks of each wait, so that one call can't carry it."""

FEWEST_COMPARED = 10
"""Fewer calls than this on either side make no comparison: its limits would promise too much."""

HOT_DAY_F = 90.0
"""A day whose high reaches this is a hot one (common practice, no source)."""

COLUMNS = (
    AnswerColumn(name="homes", kind="text", meaning="priority (heat is a danger there), other, or all"),
    AnswerColumn(name="calls", kind="count", meaning="calls for no or poor cooling or a tripped breaker"),
    AnswerColumn(name="n_homes", kind="count", meaning="homes they came from"),
    AnswerColumn(name="unfinished", kind="count", meaning="calls of which the log doesn't show when cooling came back"),
    AnswerColumn(name="median_hours", kind="number", meaning="half of the waits are shorter", unit="hours"),
    AnswerColumn(name="low", kind="number", meaning="low end of median_hours"),
    AnswerColumn(name="high", kind="number", meaning="high end of median_hours"),
    AnswerColumn(name="p90_hours", kind="number", meaning="nine in ten are shorter", unit="hours"),
    AnswerColumn(name="mean_hours", kind="number", meaning="hours waited a call, its first two weeks", unit="hours"),
    AnswerColumn(name="longer", kind="number", meaning="priority rows: their median less the others'", unit="hours"),
    AnswerColumn(name="longer_low", kind="number", meaning="low end of longer; below zero: they may wait less"),
    AnswerColumn(name="longer_high", kind="number", meaning="high end of longer"),
    AnswerColumn(name="mean_longer", kind="number", meaning="priority rows: their mean less the others'", unit="hours"),
    AnswerColumn(name="mean_longer_low", kind="number", meaning="low end of mean_longer"),
    AnswerColumn(name="mean_longer_high", kind="number", meaning="high end of mean_longer"),
    AnswerColumn(name="hours", kind="number", meaning="hours without cooling in all, at least", unit="hours"),
    AnswerColumn(name="hot_hours", kind="number", meaning="those on days known to reach 90 °F", unit="hours"),
    AnswerColumn(name="part_hours", kind="number", meaning="of hours, spent waiting for a part", unit="hours"),
    AnswerColumn(name="access_hours", kind="number", meaning="of hours, after a visit nobody let in", unit="hours"),
    AnswerColumn(name="temporary_hours", kind="number", meaning="of hours, with a temporary repair", unit="hours"),
    AnswerColumn(name="readings", kind="count", meaning="calls with an indoor temperature"),
    AnswerColumn(name="indoor_f", kind="number", meaning="median temperature first found", unit="°F"),
    AnswerColumn(name="over_80", kind="number", meaning="share of those above 80 °F"),
    AnswerColumn(name="over_80_low", kind="number", meaning="low end of over_80"),
    AnswerColumn(name="over_80_high", kind="number", meaning="high end of over_80"),
    AnswerColumn(name="over_85", kind="number", meaning="share of those above 85 °F"),
    AnswerColumn(name="over_85_low", kind="number", meaning="low end of over_85"),
    AnswerColumn(name="over_85_high", kind="number", meaning="high end of over_85"),
    AnswerColumn(name="property", kind="text", meaning="blank: all together"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)

_METHOD = (
    "Hours from the report to the end of the visit that brought cooling back, follow-ups within 90 days included; "
    "product-limit medians with log-log limits, waits without an end counted as at least so long; restricted means; "
    "exact limits of shares."
)


def measure_waits(
    histories: Histories, *, by: Sequence[str] = (), level: float = LEVEL, cap_hours: float = CAP_HOURS
) -> Answer:
    """Say how long homes go without cooling and how hot they are found, priority homes set apart.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    by : sequence of str
        Columns to group by, of `GROUPINGS`; cells only, no margins.
    level : float
        Two-sided level of the limits.
    cap_hours : float
        The mean counts the first so many hours of each wait.

    Returns
    -------
    Answer
        For each group the priority homes, the other homes (where there are both) and all (`COLUMNS`, the grouping
        columns before them). Medians are blank under five waits, ``high`` where too few have ended.

    Raises
    ------
    AnalysisError
        When a grouping, the level or the cap is out of range.

    Notes
    -----
    A further call for cooling while a part is awaited or after nobody let anyone in, within the chain's days, belongs
    to the same wait. A call whose last visit left it temporary, waiting or without access, with no visit after it,
    lasts at least to the end of that visit; one still waiting for a part, to the end of the as-of day. Several units of
    one home wait each for itself. Calls are taken as independent of one another.
    """
    check_level(level)
    by = tuple(dict.fromkeys(by))
    _check(by, cap_hours)
    calls = read_waits(histories)
    used = calls.loc[calls["use"] == "yes"]
    names = [*by, *(column.name for column in COLUMNS if column.name not in by)]
    table = pd.DataFrame(list(_rows(used, by, level, cap_hours)), columns=names)
    columns = [AnswerColumn(name=name, kind="text", meaning="grouping column") for name in by]
    answer = answer_from(
        histories,
        table,
        [*columns, *(column for column in COLUMNS if column.name not in by)],
        name="waits",
        method=_METHOD,
        n_used=len(used),
        settings={"by": by, "level": level, "cap_hours": cap_hours, "hot_day_f": HOT_DAY_F},
    )
    # waits are counted a call, not a unit-year: what is said of time at risk doesn't belong here
    return replace(answer, notes=tuple(_notes(used)), excluded=left_out(calls))


def read_waits(histories: Histories) -> pd.DataFrame:
    """Return every call with its wait: one row a call, columns of ``sql/wait_call.sql`` and ``hot_hours``."""
    for name in ("wait_visit", "wait_call", "wait_heat"):
        histories.database.run_file("fleet.analysis", name)
    return histories.database.frame(
        "select c.*, h.hot_hours from history.wait_call as c left join ("
        "select call_id, case when count(*) = count(high_f) then "
        "sum(case when high_f >= $1 then hours else 0 end) end as hot_hours "
        "from history.wait_heat group by call_id) as h using (call_id) order by call_id",
        [HOT_DAY_F],
    )


def left_out(calls: pd.DataFrame) -> dict[str, int]:
    """Return what waits leave out: reason -> calls."""
    return {str(why): int(n) for why, n in calls["use"].value_counts().items() if why != "yes"}


def _check(by: tuple[str, ...], cap_hours: float) -> None:
    unknown = [name for name in by if name not in GROUPINGS]
    if unknown:
        msg = f"waits can't be grouped by {', '.join(unknown)}; they can by {', '.join(GROUPINGS)}"
        raise AnalysisError(msg)
    if not 1 <= cap_hours <= 8766:
        msg = f"cap_hours = {cap_hours} must lie between 1 hour and a year"
        raise AnalysisError(msg)


def _rows(used: pd.DataFrame, by: tuple[str, ...], level: float, cap: float) -> Iterator[dict[str, object]]:
    groups = [((), used)] if not by else used.groupby(list(by), sort=True)
    for values, group in groups:
        if group.empty:
            continue
        keys = {"property": "", **dict(zip(by, values, strict=True))}
        first, rest = group.loc[group["priority_home"]], group.loc[~group["priority_home"]]
        summaries = {
            name: (own, summarise_waits(own["hours"], own["done"], cap=cap, level=level))
            for name, own in (("priority", first), ("other", rest), ("all", group))
        }
        for name, (own, waits) in summaries.items():
            if name == "all" or (len(first) and len(own)):
                row = {**keys, "homes": name, **_row(own, waits, level, cap)}
                if name == "priority" and min(len(first), len(rest)) >= FEWEST_COMPARED:
                    row |= _compared(waits, summaries["other"][1], level)
                elif name == "priority":
                    why = f"under {FEWEST_COMPARED} calls of priority homes, or of others, so no comparison"
                    row["note"] = "; ".join(said for said in (str(row["note"]), why) if said)
                yield row


def _compared(priority: WaitSummary, others: WaitSummary, level: float) -> dict[str, object]:
    """Return by how much longer priority homes wait than others, by median and by mean."""
    names = ("longer", "longer_low", "longer_high", "mean_longer", "mean_longer_low", "mean_longer_high")
    return dict(zip(names, (*compare_medians(priority, others), *compare_means(priority, others, level)), strict=True))


def _row(own: pd.DataFrame, waits: WaitSummary, level: float, cap: float) -> dict[str, object]:
    found = own["indoor_f"].dropna()
    hot = own["hot_hours"]
    return {
        "calls": len(own),
        "n_homes": own[["property", "building", "home"]].drop_duplicates().shape[0],
        "unfinished": int((~own["done"]).sum()),
        "median_hours": waits.median,
        "low": waits.low,
        "high": waits.high,
        "p90_hours": waits.p90,
        "mean_hours": waits.mean,
        "hours": own["hours"].sum(),
        "hot_hours": hot.sum() if hot.notna().any() else np.nan,
        **{name: own[name].sum() for name in ("part_hours", "access_hours", "temporary_hours")},
        "readings": len(found),
        "indoor_f": found.median() if len(found) else np.nan,
        **_shares(found, 80, level),
        **_shares(found, 85, level),
        "note": "; ".join(_row_notes(own, waits, cap)),
    }


def _shares(found: pd.Series, limit_f: int, level: float) -> dict[str, object]:
    names = (f"over_{limit_f}", f"over_{limit_f}_low", f"over_{limit_f}_high")
    if found.empty:
        return dict.fromkeys(names, np.nan)
    k = int((found > limit_f).sum())
    limits = clopper_pearson(k, len(found), level)
    return dict(zip(names, (k / len(found), limits.low, limits.high), strict=True))


def _row_notes(own: pd.DataFrame, waits: WaitSummary, cap: float) -> Iterator[str]:
    if len(own) < FEWEST_WAITS:
        yield f"only {len(own)} {'wait' if len(own) == 1 else 'waits'}, so no median"
    elif np.isnan(waits.median):
        yield "under half of the waits have ended, so no median"
    elif np.isnan(waits.high):
        yield "too few waits have ended for the median's upper limit"
    if len(own) >= FEWEST_WAITS and np.isnan(waits.mean):
        yield f"the longest wait is unfinished and under {cap:g} hours, so no mean"
    unknown = int(own["hot_hours"].isna().sum())
    if unknown:
        yield f"the weather of {unknown} {'wait' if unknown == 1 else 'waits'} isn't known, so hot_hours leave them out"
    if own["indoor_f"].isna().all():
        yield "no indoor temperature was written down"


def _notes(used: pd.DataFrame) -> list[str]:
    cautions = [caution.text for caution in cautions_on("heat")]
    if used.empty:
        return [
            "No call for cooling has a time of report and of arrival or finish: write both down to see waits.",
            *cautions,
        ]
    return [*_priority_notes(used), *_wait_notes(used), *_temperature_notes(used), *cautions]


def _priority_notes(used: pd.DataFrame) -> Iterator[str]:
    if not used["priority_home"].any():
        yield "No home is marked as one where heat is a danger: mark them in the equipment table, and they stand first."


def _wait_notes(used: pd.DataFrame) -> Iterator[str]:
    share = used["part_hours"].sum() / used["hours"].sum()
    yield (
        f"Waiting for a part makes {100 * share:.0f} % of the hours without cooling, in "
        f"{int(used['waited_for_part'].sum())} of {len(used)} calls."
    )
    ended = used["done"]
    if not ended.all():
        soonest = used["hours"].median()
        latest = used["hours"].where(ended, np.inf).median()
        between = f"between {soonest:.1f} and {latest:.1f} hours"
        yield (
            f"{int((~ended).sum())} waits have no end in the log and count as at least so long; whatever they truly "
            f"were, the median lies {between if np.isfinite(latest) else f'at {soonest:.1f} hours or more'}."
        )
    yield (
        "Poor cooling counts as none. Cool months count too; hot_hours are those on days of 90 °F and more, and "
        "grouped by month seasons show."
    )


def _temperature_notes(used: pd.DataFrame) -> Iterator[str]:
    n = int(used["indoor_f"].notna().sum())
    if n:
        yield (
            f"Indoor temperatures were written down on {n} of {len(used)} calls: if mostly the hot homes were measured "
            "the shares read high. Some local codes set the most a rented home may reach (80, 82 or 85 °F, for "
            "instance): ask which holds here."
        )
