"""When do failures of a component usually fall? Each week's share, from season, heat, age of the fleet, time at risk.

The weeks of one property share its weather: a week in which everything fails more is a hot week, not a cluster. So the
usual course is taken from all components together (months, years, and what single weeks show beyond them, shrunk) and
bent by how the component differs from them by month and by year (shrunk as well). A heap of one component in one
building hardly moves it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.analysis.poisson import FloatArray
from fleet.analysis.poisson_regression import fit_poisson
from fleet.analysis.scan import IntArray
from fleet.analysis.seasonal_exposure import ordinal, ordinals
from fleet.analysis.shrinkage import MIN_GROUPS, fit_gamma_prior, shrink_rates
from fleet.histories.build import Histories

_STRONG = 1000.0
"""Failures as usual that leave a month as it is."""

_PRIOR_SD = 1.0
"""Spread of months and years around the mean, log scale."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualWeeks:
    """The usual course of one property's failures: time at risk by building and week, and what weeks bring on it.

    ``at_risk`` has shape (buildings, weeks), unit-days; ``level`` has shape (weeks,), failures of all components per
    unit-day; ``month`` and ``year`` are codes of each week.
    """

    buildings: pd.Index
    at_risk: FloatArray = field(repr=False)
    level: FloatArray = field(repr=False)
    month: IntArray = field(repr=False)
    year: IntArray = field(repr=False)

    def shares(self, building: IntArray, week: IntArray) -> FloatArray:
        """Return each building's usual share by week for a component, from its failures in the other buildings."""
        shape = self.at_risk.shape
        seen = np.bincount(building * shape[1] + week, minlength=shape[0] * shape[1]).reshape(shape).astype(np.float64)
        usual: FloatArray = self.at_risk * self.level[None, :]
        if usual.sum() <= 0:
            return self.at_risk
        usual = usual * seen.sum() / usual.sum()
        for code in (self.month, self.year):
            usual = usual * _bend(seen, usual, code)
        return usual


def usual_weeks(histories: Histories, place: str, weeks: IntArray, n_weeks: int) -> UsualWeeks:
    """Read the usual course of a property off its failures of all components.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    place : str
        The property.
    weeks : ndarray of int
        Week of every failure of the property, counted from the log's first day.
    n_weeks : int
        Weeks of the log.
    """
    observed = histories.database.frame(
        "select u.building, o.from_day, o.to_day from history.observed as o join history.unit as u using (unit_id) "
        "where u.property = ? order by u.building",
        [place],
    )
    codes, buildings = pd.factorize(observed["building"], sort=True)
    first = ordinal(histories.window[0])
    at_risk = _days_at_risk(
        codes, ordinals(observed["from_day"]) - first, ordinals(observed["to_day"]) - first, n_weeks
    )
    middle = (first + 7 * np.arange(n_weeks) + 3).astype("datetime64[D]")
    month = middle.astype("datetime64[M]").astype(np.int64) % 12
    year = middle.astype("datetime64[Y]").astype(np.int64)
    year -= year.min(initial=0) if n_weeks == 0 else year.min()
    seen = np.bincount(weeks, minlength=n_weeks).astype(np.float64)
    return UsualWeeks(
        buildings=buildings,
        at_risk=at_risk,
        level=_level(seen, at_risk.sum(axis=0), month, year),
        month=month,
        year=year,
    )


def _days_at_risk(codes: npt.NDArray[np.intp], start: IntArray, end: IntArray, n_weeks: int) -> FloatArray:
    """Count the unit-days of each building and week."""
    n_buildings = int(codes.max(initial=-1)) + 1
    steps = np.zeros((n_buildings, 7 * n_weeks + 1))
    np.add.at(steps, (codes, np.clip(start, 0, 7 * n_weeks)), 1.0)
    np.add.at(steps, (codes, np.clip(end, 0, 7 * n_weeks)), -1.0)
    daily = np.cumsum(steps, axis=1)[:, :-1]
    return np.asarray(daily.reshape(n_buildings, n_weeks, 7).sum(axis=2))


def _level(seen: FloatArray, days: FloatArray, month: IntArray, year: IntArray) -> FloatArray:
    """Return all components' failures per unit-day by week: months × years, then each week shrunk toward them."""
    risky = days > 0
    if seen[risky].sum() == 0:
        return np.ones(seen.size)
    design = np.hstack([np.ones((seen.size, 1)), _dummies(month), _dummies(year)])
    fit = fit_poisson(design[risky], seen[risky], exposure=days[risky], prior_sd=_PRIOR_SD)
    usual = np.exp(design @ fit.coefficients)
    week = shrink_rates(np.where(risky, seen, 0.0), usual * days)
    return np.asarray(usual * np.where(np.isfinite(week.mean) & week.pooled, week.mean, 1.0))


def _dummies(codes: IntArray) -> FloatArray:
    return np.asarray(codes[:, None] == np.arange(codes.max() + 1)[None, :], dtype=np.float64)


def _bend(seen: FloatArray, usual: FloatArray, code: IntArray) -> FloatArray:
    """Return by what factor a component departs from the usual in each month or year, by building and week.

    Each building's factors come from the other buildings, so that its own heap doesn't hide in them; they are shrunk
    toward none as far as months or years differ no more than chance makes them.
    """
    pick = _dummies(code)
    n, expected = seen @ pick, usual @ pick
    strength = _shrinkage_strength(n.sum(axis=0), expected.sum(axis=0))
    others, usual_there = n.sum(axis=0) - n, expected.sum(axis=0) - expected
    scale = others.sum(axis=1, keepdims=True) / np.maximum(usual_there.sum(axis=1, keepdims=True), 1e-12)
    factor = (others + strength) / (usual_there * np.where(scale > 0, scale, 1.0) + strength)
    return np.asarray(factor[:, code])


def _shrinkage_strength(n: FloatArray, expected: FloatArray) -> float:
    """Return how many failures as usual are added to each month or year: the shape of the gamma law between them."""
    risky = expected > 0
    if risky.sum() < MIN_GROUPS or n[risky].sum() == 0:
        return _STRONG
    return min(fit_gamma_prior(n[risky], expected[risky]).shape, _STRONG)
