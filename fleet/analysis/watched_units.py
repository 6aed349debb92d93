"""When was each unit watched, and when did it fail? Windows of observation by date and by age.

A unit is watched while it is in service, the log is kept and the home is lived in. Places (tags) go on when a unit is
replaced, so a trend over the years is that of the place: were a unit's watch to end because it failed, its failures
would lie at the end of it and look like a trend.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.analysis.poisson import FloatArray
from fleet.analysis.recurrence_windows import IndexArray
from fleet.analysis.seasonal_exposure import fit_seasonal_clock, ordinals
from fleet.histories.build import Histories
from fleet.store.database import read_sql


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """Windows in days since 1970, the failures in them (at midday), and to whom each window belongs.

    Attributes
    ----------
    place, unit : ndarray of shape (windows,)
        Number of the place (tag) and of the unit that hung there.
    start, stop, installed : ndarray of shape (windows,)
        First day, day after the last, and the unit's installation (not a number: unknown).
    for_good : ndarray of bool
        Whether the place's watch ended there by retirement, with nothing in its stead.
    owner, when : ndarray of shape (failures,)
        In which window a failure fell, and when.
    """

    place: IndexArray
    unit: IndexArray
    start: FloatArray
    stop: FloatArray
    installed: FloatArray
    for_good: npt.NDArray[np.bool_]
    owner: IndexArray
    when: FloatArray

    def cut_to(self, start: FloatArray, stop: FloatArray) -> Watch:
        """Return the windows shortened to these borders, without those that vanish and the failures outside."""
        kept = stop > start
        place = np.cumsum(kept) - 1
        inside = kept[self.owner] & (self.when > start[self.owner]) & (self.when <= stop[self.owner])
        return Watch(
            place=_numbered(self.place[kept]),
            unit=_numbered(self.unit[kept]),
            start=start[kept],
            stop=stop[kept],
            installed=self.installed[kept],
            for_good=self.for_good[kept],
            owner=place[self.owner[inside]],
            when=self.when[inside],
        )

    def by_age(self) -> Watch:
        """Return the windows of units of known age, in days of age."""
        known = np.isfinite(self.installed)
        kept = self.cut_to(np.where(known, self.start, 0.0), np.where(known, self.stop, 0.0))
        zero = kept.installed
        return Watch(
            place=kept.place,
            unit=kept.unit,
            start=kept.start - zero,
            stop=kept.stop - zero,
            installed=np.zeros(zero.size),
            for_good=kept.for_good,
            owner=kept.owner,
            when=kept.when - zero[kept.owner],
        )

    def by_place(self) -> Watch:
        """Return each place's windows, joined where one unit follows another without a day between."""
        order = np.lexsort((self.start, self.place))
        place, start, stop = self.place[order], self.start[order], self.stop[order]
        # days since 1970 are far below a million, so one running maximum serves all places
        reach = np.maximum.accumulate(place * 1e6 + stop)
        begins = np.concatenate([[True], place[1:] * 1e6 + start[1:] > reach[:-1]])
        first = np.flatnonzero(begins)
        group = np.empty(order.size, dtype=np.intp)
        group[order] = np.cumsum(begins) - 1
        return Watch(
            place=place[first],
            unit=place[first],
            start=start[first],
            stop=np.maximum.reduceat(stop, first),
            installed=np.full(first.size, np.nan),
            for_good=np.logical_or.reduceat(self.for_good[order], first),
            owner=group[self.owner],
            when=self.when,
        )

    def without_end(self, days: int) -> Watch:
        """Return the windows without the last days of places given up for good.

        A place given up because of a failure ends with it; without those days the failures before say whether they
        came faster.
        """
        return self.cut_to(self.start, np.where(self.for_good, np.maximum(self.stop - days, self.start), self.stop))


def read_watch(histories: Histories, component: str | None) -> Watch | None:
    """Return windows and failures of one component (None: all); None where no time was watched.

    Needs ``history.watched`` and ``history.repeated`` (sql/recurrence_windows.sql).
    """
    windows = histories.database.frame(
        read_sql("fleet.analysis", "watched_windows"), {"kit_only": component == "hard start"}
    )
    if windows.empty:
        return None
    failures = histories.database.frame(
        "select unit_id, day from history.repeated where $component is null or component = $component "
        "order by day, unit_id, component",
        {"component": component},
    )
    ids, start = windows["unit_id"].to_numpy(), _days(windows["from_day"])
    when = _days(failures["day"]) + 0.5
    place = np.searchsorted(_ranked(ids, start), _ranked(failures["unit_id"].to_numpy(), when))
    installed = pd.to_datetime(windows["installed_on"])
    return Watch(
        place=_numbered(windows["equipment_id"].to_numpy()),
        unit=_numbered(ids),
        start=start,
        stop=_days(windows["to_day"]),
        installed=np.where(installed.isna(), np.nan, _days(installed.fillna(pd.Timestamp(0)))),
        for_good=windows["for_good"].to_numpy(dtype=np.bool_),
        owner=place - 1,
        when=when,
    )


def without_season(watch: Watch) -> tuple[FloatArray, FloatArray, IndexArray, FloatArray]:
    """Return windows and failures on a clock that runs as failures come in over the year, in years."""
    day = np.floor(watch.when).astype(np.int64)
    clock = fit_seasonal_clock(day, watch.start.astype(np.int64), watch.stop.astype(np.int64))

    def at(days: FloatArray) -> FloatArray:
        return clock.years(np.full(days.size, clock.first), days.astype(np.int64))

    return at(watch.start), at(watch.stop), watch.owner, 0.5 * (at(watch.when - 0.5) + at(watch.when + 0.5))


def _days(days: pd.Series) -> FloatArray:
    return ordinals(days).astype(np.float64)


def _numbered(names: npt.NDArray[np.generic]) -> IndexArray:
    numbers: IndexArray = np.unique(names, return_inverse=True)[1].astype(np.intp)
    return numbers


def _ranked(unit_id: npt.NDArray[np.generic], day: FloatArray) -> FloatArray:
    """Return one number that orders by unit, then day (days stay far below a million)."""
    ranked: FloatArray = unit_id.astype(np.float64) * 1e6 + day
    return ranked
