"""Are failures growing more frequent? The mean number a unit has had, by its age or by date, with a verdict.

Rates average over the log; this looks at how failures come within it. Units are watched in windows: from the log's
first day or their own, without the time taken out, to the log's last day or their retirement.
"""

from __future__ import annotations

import datetime as dt
from typing import Literal, get_args

import numpy as np
import pandas as pd

from fleet.analysis.failure_trends import CAUTION, trend_row, verdict_sentence
from fleet.analysis.poisson import check_level
from fleet.analysis.recurrence import MeanCumulative, mean_cumulative
from fleet.analysis.watched_units import Watch, read_watch
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR, LEVEL
from fleet.trade.components import COMPONENTS

Clock = Literal["calendar", "age"]

FEWEST_WATCHED = 5
"""The curve is drawn only where so many units were watched (all there ever were, where fewer)."""

MOST_ROWS = 400
"""Rows a curve may have; a longer one keeps evenly spread points, and failures between them are added up."""

COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="blank = all together"),
    AnswerColumn(name="component", kind="text", meaning="what failed; blank = all components"),
    AnswerColumn(
        name="segment", kind="count", meaning="the curve begins anew at zero in each, where too few were watched"
    ),
    AnswerColumn(name="years", kind="number", meaning="unit age, or time since the log's first day", unit="years"),
    AnswerColumn(name="day", kind="date", meaning="the date (by calendar); blank by age"),
    AnswerColumn(name="units", kind="count", meaning="units watched then"),
    AnswerColumn(name="failures", kind="count", meaning="failures since the row before"),
    AnswerColumn(
        name="mean_failures", kind="number", meaning="failures a unit has had on average since the segment began"
    ),
    AnswerColumn(name="low", kind="number", meaning="lower bound, units taken as independent"),
    AnswerColumn(name="high", kind="number", meaning="upper bound"),
    AnswerColumn(name="note", kind="text", meaning="why there is no curve"),
)

_METHOD = (
    "Mean cumulative function (Nelson 1995) with robust limits (Lawless and Nadeau 1995) over windows of observation; "
    "the verdict from the log-linear trend of compare_trends."
)


def describe_recurrence(
    histories: Histories, *, component: str | None = None, clock: Clock = "calendar", level: float = LEVEL
) -> Answer:
    """Say how many failures a unit has had by each age or date, and whether they grow more frequent.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    component : str, optional
        Keep one component; default: all together.
    clock : {"calendar", "age"}
        Whether the curve runs over dates or over unit age (units of unknown age are left out then, and counted).
    level : float
        Two-sided level of the curve's limits and of the trend's.

    Returns
    -------
    Answer
        The curve (`COLUMNS`); the first note is the verdict. A curve that is steeper later means failures come faster.

    Raises
    ------
    AnalysisError
        When the component, the clock or the level is unusable.

    Notes
    -----
    The curve is drawn where at least FEWEST_WATCHED units were watched; where fewer were it breaks, and begins anew at
    zero. A failure is a chain of visits for one fault, as in `fleet.analysis.rates`. The verdict is that of
    `compare_trends` for the same component.

    Example
    -------
    ``describe_recurrence(histories, component="contactor", clock="age").notes[0]``
    """
    check_level(level)
    if clock not in get_args(Clock):
        msg = f"clock = {clock!r} is not known; choose from {', '.join(get_args(Clock))}"
        raise AnalysisError(msg)
    _check_component(component)
    histories.database.run_file("fleet.analysis", "recurrence_windows")
    watch = read_watch(histories, component)
    trend = trend_row(component or "", watch, histories.chain_days, level)
    shown, excluded = watch, {}
    if clock == "age" and watch is not None:
        shown = watch.by_age()
        left_out = watch.when.size - shown.when.size
        excluded = {"failures of units of unknown age, in no curve by age": left_out} if left_out else {}
    table = _curve(component or "", shown, clock, histories.window[0], level)
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="recurrence",
        method=_METHOD,
        n_used=int(table["failures"].sum()),
        notes=[verdict_sentence(trend, level), *_cautions(component, clock)],
        excluded=excluded,
        settings={"component": component, "clock": clock, "level": level},
    )


def _check_component(component: str | None) -> None:
    known = [c.name for c in COMPONENTS if c.counts_as_failure]
    if component is not None and component not in known:
        msg = f"{component!r} is not a component; choose from {', '.join(known)}"
        raise AnalysisError(msg)


def _curve(component: str, watch: Watch | None, clock: Clock, origin: dt.date, level: float) -> pd.DataFrame:
    rows: list[pd.DataFrame] = []
    if watch is not None:
        zero = 0.0 if clock == "age" else float(watch.start.min())
        for number, (since, until) in enumerate(_stretches(watch), start=1):
            found = _segment(watch, since, until, zero, level)
            if found.ages.size:
                rows.append(_points(found, number))
    if not rows:
        blank = {c.name: [None] for c in COLUMNS if c.kind == "date"} | {
            c.name: [np.nan] for c in COLUMNS if c.kind in ("number", "count")
        }
        return pd.DataFrame(blank | {"failures": [0], "note": ["no failure at risk in the log: no curve"]}).assign(
            property="", component=component
        )
    table = pd.concat(rows, ignore_index=True)
    days = [origin + dt.timedelta(days=int(at)) if clock == "calendar" else None for at in table["at"]]
    return table.assign(
        property="", component=component, years=table["at"] / DAYS_PER_YEAR, note="",
        day=pd.Series(days, index=table.index, dtype=object),
    )  # fmt: skip


def _stretches(watch: Watch) -> list[tuple[float, float]]:
    """Return the stretches of time in which enough units were watched."""
    edge, at = np.unique(np.concatenate([watch.start, watch.stop]), return_inverse=True)
    step = np.bincount(at, weights=np.repeat([1.0, -1.0], watch.start.size), minlength=edge.size)
    watched = np.cumsum(step)
    enough = watched >= min(FEWEST_WATCHED, watched.max())
    begins = np.flatnonzero(enough & ~np.concatenate([[False], enough[:-1]]))
    ends = np.flatnonzero(~enough & np.concatenate([[False], enough[:-1]]))
    return [(float(edge[a]), float(edge[b])) for a, b in zip(begins, ends, strict=True)]


def _segment(watch: Watch, since: float, until: float, zero: float, level: float) -> MeanCumulative:
    part = watch.cut_to(np.maximum(watch.start, since), np.minimum(watch.stop, until))
    return mean_cumulative(
        part.start - zero, part.stop - zero, part.owner, part.when - zero, level=level, belongs_to=part.unit
    )


def _points(found: MeanCumulative, number: int) -> pd.DataFrame:
    size = found.ages.size
    kept = np.unique(np.linspace(0, size - 1, min(size, MOST_ROWS)).round().astype(np.int64))
    events = np.cumsum(found.events)[kept]
    return pd.DataFrame(
        {
            "segment": number,
            "at": found.ages[kept],
            "units": found.at_risk[kept].astype(int),
            "failures": np.diff(events, prepend=0.0).astype(int),
            "mean_failures": found.mean[kept],
            "low": found.low[kept],
            "high": found.high[kept],
        }
    )


def _cautions(component: str | None, clock: Clock) -> list[str]:
    said = [CAUTION]
    if component is not None:
        said.append(
            "One component is looked at alone here; of many looked at some show a trend by chance, so ask for the "
            "trends of all components before you act on one."
        )
    if clock == "age":
        said.append(
            "The curve by age joins young units seen then with old units seen now; units that left before the log "
            "began are not in it."
        )
    return said
