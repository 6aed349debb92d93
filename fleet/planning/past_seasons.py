"""The same days of past years: time at risk, parts fitted, and how hot each of them was."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.errors import PlanError
from fleet.histories.build import Histories

FloatArray = npt.NDArray[np.float64]

FULL_ENOUGH = 0.95
"""A weather year counts when at least this share of the season's days is in the record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """The season planned for: both days included."""

    from_date: dt.date
    to_date: dt.date

    @property
    def days(self) -> int:
        """How many days it has."""
        return (self.to_date - self.from_date).days + 1

    def years_back(self, years: int) -> Season:
        """Return the same days of an earlier year."""
        return Season(from_date=_back(self.from_date, years), to_date=_back(self.to_date, years))


@dataclass(frozen=True, slots=True, kw_only=True)
class PastSeasons:
    """What the log says of the same days in past years.

    Attributes
    ----------
    risk : DataFrame
        component, season_id, model_family, compressor_type, state, days at risk.
    fits : DataFrame
        component, season_id, why, state, model_family, compressor_type, property, building, pieces: one row a
        visit and component.
    heat : Series
        Degree days of the season by years back, from the weather record (mean over properties); empty without one.
    """

    season: Season
    season_ids: tuple[int, ...]
    risk: pd.DataFrame
    fits: pd.DataFrame
    heat: pd.Series


def next_season(as_of: dt.date) -> Season:
    """Return 1 April to 30 September, the first such season to begin after ``as_of``."""
    year = as_of.year if as_of < dt.date(as_of.year, 4, 1) else as_of.year + 1
    return Season(from_date=dt.date(year, 4, 1), to_date=dt.date(year, 9, 30))


def season_of(as_of: dt.date, from_date: dt.date | None, to_date: dt.date | None) -> Season:
    """Return the season asked for, the next summer where no dates are given.

    Raises
    ------
    PlanError
        If only one date is given, the season is backward or longer than a year, or ends before ``as_of``.
    """
    if from_date is None and to_date is None:
        return next_season(as_of)
    if from_date is None or to_date is None:
        msg = "a season needs both its first and its last day (--from and --to)"
        raise PlanError(msg)
    season = Season(from_date=from_date, to_date=to_date)
    if not 1 <= season.days <= 366:
        msg = f"the season {from_date} to {to_date} has {season.days} days; it must have 1 to 366"
        raise PlanError(msg)
    if to_date <= as_of:
        msg = f"the season ends on {to_date}, not after the as-of day {as_of}; plan for days to come"
        raise PlanError(msg)
    return season


def read_past_seasons(histories: Histories, season: Season) -> PastSeasons:
    """Read what was at risk and what was fitted in the same days of the log's past years."""
    database = histories.database
    rows = list_past_seasons(histories, season)
    database.run_file("fleet.planning", "season_risk")
    database.run_file("fleet.planning", "season_fit")
    risk = database.frame(
        "select r.season_id, r.component, coalesce(u.model_family, 'unknown') as model_family, u.compressor_type, "
        "u.property, u.building, r.state, sum(r.days) as days "
        "from history.season_risk_unit as r join history.unit as u using (unit_id) group by all order by all"
    )
    fits = database.frame("from history.season_fit order by all")
    return PastSeasons(
        season=season,
        season_ids=tuple(row[0] for row in rows),
        risk=risk,
        fits=fits,
        heat=_season_heat(histories, season),
    )


def list_past_seasons(histories: Histories, season: Season) -> list[tuple[int, dt.date, dt.date]]:
    """Fill history.season with the same days of the log's past years: years back, first day, day after the last."""
    first, last = histories.window
    back = [k for k in range(1, season.from_date.year - first.year + 2) if season.years_back(k).to_date >= first]
    rows = [(k, season.years_back(k).from_date, season.years_back(k).to_date + dt.timedelta(days=1)) for k in back]
    rows = [row for row in rows if row[1] <= last]
    database = histories.database
    database.run("create or replace table history.season (season_id integer, from_day date, to_day date)")
    for row in rows:
        database.run("insert into history.season values (?, ?, ?)", list(row))
    return rows


def codes_of(frame: pd.DataFrame, key: list[str]) -> tuple[npt.NDArray[np.int64], pd.DataFrame]:
    """Return each row's code and the distinct values of ``key``, sorted; codes count them from 0."""
    codes, groups = pd.factorize(pd.MultiIndex.from_frame(frame[key]), sort=True)
    return codes.astype(np.int64), groups.to_frame(index=False).set_axis(key, axis=1)


def sum_columns(draws: npt.NDArray[Any], codes: npt.NDArray[np.int64], groups: int) -> npt.NDArray[Any]:
    """Sum the columns of drawn futures (futures, cells) that share a code 0 .. groups - 1; every code occurs."""
    if groups == 0:
        return np.zeros((draws.shape[0], 0), dtype=draws.dtype)
    order = np.argsort(codes, kind="stable")
    starts = np.searchsorted(codes[order], np.arange(groups))
    summed: npt.NDArray[Any] = np.add.reduceat(draws[:, order], starts, axis=1, dtype=draws.dtype)
    return summed


def walking_order(histories: Histories, table: pd.DataFrame, place: str) -> pd.Series:
    """Return a sort key for the places of a table: buildings in walking order, other places after them."""
    order = {
        (prop, building): position
        for prop, building, position in histories.database.rows(
            "select property, building, position from log.clean.building"
        )
    }
    keys = zip(table["property"], table[place], strict=True)
    return pd.Series([order.get(key, len(order) + 1 + (not key[1])) for key in keys], index=table.index)


def _season_heat(histories: Histories, season: Season) -> pd.Series:
    """Return degree days by years back, for every year of the weather record known on the as-of day."""
    weather = histories.database.frame(
        "select property, date, degree_days from history.heat where degree_days is not null and date <= ?",
        [histories.as_of],
    )
    if weather.empty:
        return pd.Series(dtype=float)
    days = pd.to_datetime(weather["date"])
    heat: dict[int, float] = {}
    for years in range(season.from_date.year - days.min().year + 1):
        past = season.years_back(years)
        chosen = weather[(days >= pd.Timestamp(past.from_date)) & (days <= pd.Timestamp(past.to_date))]
        by_property = chosen.groupby("property")["degree_days"].agg(["size", "sum"])
        full = by_property[by_property["size"] >= FULL_ENOUGH * past.days]
        if len(full):
            heat[years] = float((full["sum"] / full["size"]).mean() * past.days)
    return pd.Series(heat, dtype=float)


def _back(day: dt.date, years: int) -> dt.date:
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return day.replace(year=day.year - years, day=28)
