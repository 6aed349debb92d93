"""Are failures growing more frequent? The mean number a unit has had, by its age or by date, with a verdict.

Rates average over the log; this looks at how failures come within it. Units are watched in windows: from the log's
first day or their own, without the time taken out, to the log's last day or their retirement.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from fleet.analysis.poisson import FloatArray, benjamini_hochberg, check_level
from fleet.analysis.recurrence import MeanCumulative, fit_power_law, laplace_trend, mean_cumulative
from fleet.analysis.recurrence_windows import IndexArray
from fleet.analysis.seasonal_exposure import fit_seasonal_clock, ordinals
from fleet.analysis.trends import FEWEST_UNITS, log_linear_trend, power_law_limits, robust_trend
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR, LEVEL
from fleet.trade.components import COMPONENTS

By = Literal["calendar", "age"]

FEWEST_WATCHED = 5
"""The curve is drawn only where so many units were watched (all there ever were, where fewer)."""

FEWEST_FAILURES = 10
"""With fewer failures no trend is tested."""

FALSE_DISCOVERY = 0.10

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

TREND_COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="blank = all together"),
    AnswerColumn(name="component", kind="text", meaning="what failed; blank = all components"),
    AnswerColumn(name="failures", kind="count", meaning="failures at risk time"),
    AnswerColumn(name="units", kind="count", meaning="units that failed"),
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

_METHOD = (
    "Mean cumulative function (Nelson 1995) with robust limits (Lawless and Nadeau 1995) over windows of observation; "
    "log-linear trend given each unit's count, month of the year taken out, unit-clustered; robust Laplace test."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Watch:
    """Windows (days since 1970, ``stop`` exclusive) and the failures in them; failures lie at midday."""

    unit: IndexArray
    start: FloatArray
    stop: FloatArray
    installed: FloatArray
    owner: IndexArray
    when: FloatArray

    def by_age(self) -> _Watch:
        """Return the windows of units of known age, in days of age."""
        known = np.isfinite(self.installed)
        place = np.cumsum(known) - 1
        kept = known[self.owner]
        zero = self.installed[known]
        return _Watch(
            unit=np.unique(self.unit[known], return_inverse=True)[1],
            start=self.start[known] - zero,
            stop=self.stop[known] - zero,
            installed=zero,
            owner=place[self.owner[kept]],
            when=(self.when - self.installed[self.owner])[kept],
        )


def describe_recurrence(
    histories: Histories, *, component: str | None = None, by: By = "calendar", level: float = LEVEL
) -> Answer:
    """Say how many failures a unit has had by each age or date, and whether they grow more frequent.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    component : str, optional
        Keep one component; default: all together.
    by : {"calendar", "age"}
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
        When the component, ``by`` or the level is unusable.

    Notes
    -----
    The curve is drawn where at least FEWEST_WATCHED units were watched; where fewer were it breaks, and begins anew at
    zero. A failure is a chain of visits for one fault, as in `fleet.analysis.rates`. The verdict is that of
    `compare_trends` for the same component.

    Example
    -------
    ``describe_recurrence(histories, component="contactor", by="age").notes[0]``
    """
    check_level(level)
    if by not in ("calendar", "age"):
        msg = f"by = {by!r} is not known; choose from calendar, age"
        raise AnalysisError(msg)
    _check_component(component)
    histories.database.run_file("fleet.analysis", "recurrence_windows")
    watch = _read_watch(histories, component)
    trend = _trend_row(component or "", watch, level)
    shown, excluded = watch, {}
    if by == "age" and watch is not None:
        shown = watch.by_age()
        left_out = watch.when.size - shown.when.size
        excluded = {"failures of units of unknown age, in no curve by age": left_out} if left_out else {}
    table = _curve(component or "", shown, by, histories.window[0], level)
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="recurrence",
        method=_METHOD,
        n_used=int(table["failures"].sum()),
        notes=[_verdict_sentence(trend, level), *_cautions(by)],
        excluded=excluded,
        settings={"component": component, "by": by, "level": level},
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
        One row a component and one for all together, component blank (`TREND_COLUMNS`). ``verdict`` speaks only after
        false-discovery control over the components (10 %).

    Raises
    ------
    AnalysisError
        When the level is out of range.

    Notes
    -----
    ``yearly_factor`` compares a unit with itself: each unit's own rate is conditioned away, and the months' share of
    the component's failures is taken out first, so a log that ends after a summer shows no trend for that. Within a
    unit age and date pass together, and a hot summer at the end looks like a trend; ``age_shape`` also compares units
    of different age. Under 10 failures nothing is tested.
    """
    check_level(level)
    histories.database.run_file("fleet.analysis", "recurrence_windows")
    seen = {row[0] for row in histories.database.rows("select distinct component from history.repeated")}
    names = [c.name for c in COMPONENTS if c.name in seen]
    rows = [_trend_row(name, _read_watch(histories, name or None), level) for name in [*names, ""]]
    table = pd.DataFrame(rows)
    tested = (table["component"] != "").to_numpy()
    named = np.zeros(len(table), dtype=bool)
    named[tested] = benjamini_hochberg(table.loc[tested, "p_value"].to_numpy(float), FALSE_DISCOVERY)
    alone = ~tested & (table["p_value"].to_numpy(float) <= 1.0 - level)
    table["verdict"] = _verdicts(table, named | alone)
    said = f"{int(named.sum())} of {len(names)} components show a trend, false discovery held to 10 %."
    return answer_from(
        histories,
        table.assign(property=""),
        TREND_COLUMNS,
        name="trends",
        method=_METHOD,
        n_used=int(table.loc[table["component"] == "", "failures"].sum()),
        notes=[said, *_cautions("calendar")],
        settings={"level": level},
    )


def _check_component(component: str | None) -> None:
    known = [c.name for c in COMPONENTS if c.counts_as_failure]
    if component is not None and component not in known:
        msg = f"{component!r} is not a component; choose from {', '.join(known)}"
        raise AnalysisError(msg)


def _read_watch(histories: Histories, component: str | None) -> _Watch | None:
    """Return windows and failures of one component (None: all); None where no time was watched."""
    kit = component == "hard start"
    windows = histories.database.frame(
        "select unit_id, installed_on, to_day, case when $kit then greatest(from_day, kit_from) else from_day end as from_day "
        "from history.watched where not $kit or (kit_from is not null and kit_from < to_day) order by unit_id, from_day",
        {"kit": kit},
    )
    if windows.empty:
        return None
    start, stop = (ordinals(windows[name]).astype(np.float64) for name in ("from_day", "to_day"))
    failures = histories.database.frame(
        "select unit_id, day from history.repeated where $component is null or component = $component "
        "order by day, unit_id, component",
        {"component": component},
    )
    ids = windows["unit_id"].to_numpy()
    place = np.searchsorted(
        _ranked(ids, start), _ranked(failures["unit_id"].to_numpy(), ordinals(failures["day"]) + 0.5)
    )
    installed = pd.to_datetime(windows["installed_on"])
    return _Watch(
        unit=np.unique(ids, return_inverse=True)[1],
        start=start,
        stop=stop,
        installed=np.where(installed.isna(), np.nan, ordinals(installed.fillna(pd.Timestamp(0))).astype(np.float64)),
        owner=place - 1,
        when=ordinals(failures["day"]) + 0.5,
    )


def _ranked(unit_id: np.ndarray, day: FloatArray) -> FloatArray:
    """Return one number that orders by unit, then day (days stay far below a million)."""
    return np.asarray(unit_id, dtype=np.float64) * 1e6 + day


def _curve(component: str, watch: _Watch | None, by: By, origin: dt.date, level: float) -> pd.DataFrame:
    rows: list[pd.DataFrame] = []
    if watch is not None:
        zero = 0.0 if by == "age" else float(watch.start.min())
        for number, (since, until) in enumerate(_stretches(watch), start=1):
            found = _segment(watch, since, until, zero, level)
            if found is not None and found.ages.size:
                rows.append(_points(found, number))
    if not rows:
        blank = {c.name: [None] for c in COLUMNS if c.kind == "date"} | {
            c.name: [np.nan] for c in COLUMNS if c.kind in ("number", "count")
        }
        return pd.DataFrame(blank | {"failures": [0], "note": ["no failure at risk in the log: no curve"]}).assign(
            property="", component=component
        )
    table = pd.concat(rows, ignore_index=True)
    days = [origin + dt.timedelta(days=int(at)) if by == "calendar" else None for at in table["at"]]
    return table.assign(
        property="", component=component, years=table["at"] / DAYS_PER_YEAR, note="",
        day=pd.Series(days, index=table.index, dtype=object),
    )  # fmt: skip


def _stretches(watch: _Watch) -> list[tuple[float, float]]:
    """Return the stretches of time in which enough units were watched."""
    edge, at = np.unique(np.concatenate([watch.start, watch.stop]), return_inverse=True)
    step = np.bincount(at, weights=np.repeat([1.0, -1.0], watch.start.size), minlength=edge.size)
    watched = np.cumsum(step)
    enough = watched >= min(FEWEST_WATCHED, watched.max())
    begins = np.flatnonzero(enough & ~np.concatenate([[False], enough[:-1]]))
    ends = np.flatnonzero(~enough & np.concatenate([[False], enough[:-1]]))
    return [(float(edge[a]), float(edge[b])) for a, b in zip(begins, ends, strict=True)]


def _segment(watch: _Watch, since: float, until: float, zero: float, level: float) -> MeanCumulative | None:
    start, stop = np.maximum(watch.start, since) - zero, np.minimum(watch.stop, until) - zero
    kept = stop > start
    place = np.cumsum(kept) - 1
    inside = kept[watch.owner] & (watch.when > since) & (watch.when <= until)
    return mean_cumulative(
        start[kept],
        stop[kept],
        place[watch.owner[inside]],
        watch.when[inside] - zero,
        level=level,
        belongs_to=np.unique(watch.unit[kept], return_inverse=True)[1],
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


def _trend_row(component: str, watch: _Watch | None, level: float) -> dict[str, object]:
    row: dict[str, object] = dict.fromkeys([c.name for c in TREND_COLUMNS if c.kind == "number"], math.nan)
    row |= {"component": component, "failures": 0, "units": 0, "unit_years": 0.0, "note": "nobody was watched"}
    if watch is None:
        return row
    n, units = watch.when.size, int(np.unique(watch.unit[watch.owner]).size)
    row |= {"failures": n, "units": units, "unit_years": float((watch.stop - watch.start).sum()) / DAYS_PER_YEAR}
    if n < FEWEST_FAILURES:
        return row | {"note": f"under {FEWEST_FAILURES} failures: not enough data for a trend"}
    windows = _without_season(watch)
    trend = log_linear_trend(*windows, belongs_to=watch.unit)
    laplace, robust = (test(*windows, belongs_to=watch.unit) for test in (laplace_trend, robust_trend))
    if trend is not None:
        bounds = trend.interval(level)
        row |= {"yearly_factor": math.exp(trend.slope), "low": math.exp(bounds.low), "high": math.exp(bounds.high)}
    row |= {"laplace_z": laplace.z if laplace else math.nan, "p_value": robust.p_value if robust else math.nan}
    row["note"] = "" if robust else f"under {FEWEST_UNITS} units failed: how sure a trend is can't be told"
    return row | _age_shape(watch.by_age(), level)


def _age_shape(aged: _Watch, level: float) -> dict[str, object]:
    if aged.when.size < FEWEST_FAILURES:
        return {}
    data = (aged.start / DAYS_PER_YEAR, aged.stop / DAYS_PER_YEAR, aged.owner, aged.when / DAYS_PER_YEAR)
    fit = fit_power_law(*data)
    if fit is None:
        return {}
    bounds = power_law_limits(fit, *data, level=level, belongs_to=aged.unit)
    return {"age_shape": fit.shape, "age_shape_low": bounds.low, "age_shape_high": bounds.high}


def _without_season(watch: _Watch) -> tuple[FloatArray, FloatArray, IndexArray, FloatArray]:
    """Return windows and failures on a clock that runs as failures come in over the year, in years."""
    first, last = watch.start.astype(np.int64), watch.stop.astype(np.int64)
    day = np.floor(watch.when).astype(np.int64)
    clock = fit_seasonal_clock(day, first, last)
    zero = np.full(day.size, clock.first)
    begins, ends = (
        clock.years(np.full(first.size, clock.first), first),
        clock.years(np.full(last.size, clock.first), last),
    )
    return begins, ends, watch.owner, 0.5 * (clock.years(zero, day) + clock.years(zero, day + 1))


def _verdicts(table: pd.DataFrame, sure: np.ndarray) -> list[str]:
    return [
        ("more frequent" if factor > 1 else "less frequent") if told and not math.isnan(factor) else "can't tell"
        for factor, told in zip(table["yearly_factor"].to_numpy(float), sure, strict=True)
    ]


def _verdict_sentence(trend: dict[str, object], level: float) -> str:
    what = f"Failures of the {trend['component']}" if trend["component"] else "Failures"
    if trend["note"]:
        return f"Whether failures grow more frequent can't be told: {trend['note']}."
    factor, low, high = (float(trend[name]) for name in ("yearly_factor", "low", "high"))  # type: ignore[arg-type]
    bounds = f"{level:.0%} interval {low:.2f} to {high:.2f}"
    if low <= 1 <= high:
        return f"{what} show no trend that can be told from none: each year they come {factor:.2f} times as often ({bounds})."
    way = "more" if factor > 1 else "less"
    return f"{what} grow {way} frequent: each year they come {factor:.2f} times as often as the year before ({bounds})."


def _cautions(by: By) -> list[str]:
    notes = [
        "The trend compares each unit with itself over the log, the month of the year taken out; within a unit, age and "
        "date pass together, so it can't say whether units age or summers grew hotter.",
    ]
    if by == "age":
        notes.append(
            "The curve by age joins young units seen then with old units seen now: units that left before the log began "
            "are not in it."
        )
    return notes
