"""How often does a unit of this kind and age call? Pooled rates by age band, compressor type and model family.

A penalised Poisson regression of calls on the unit's age band and kind; the penalty pulls kinds and bands with little
time at risk toward the fleet. What is left over between units of one kind is `fleet.analysis.failing_law`'s matter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fleet.analysis.poisson import FloatArray
from fleet.analysis.poisson_regression import design_matrix, fit_poisson
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR

BAND_EDGES = (0, 2, 5, 8, 11, 14, 17, 20, 200)
"""Edges of the age bands, years."""

_PRIOR_SD = 0.7
"""Spread of kinds and age bands around the fleet, log scale: two out of three within a factor of two."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualCalls:
    """What is usual for each unit, in the order asked: calls in its time at risk, and in the next twelve months."""

    so_far: FloatArray
    next_year: FloatArray


def usual_calls(histories: Histories, units: pd.DataFrame) -> UsualCalls:
    """Say how many calls a unit of each unit's kind and age would have had, and will have in a year.

    Parameters
    ----------
    histories : Histories
        With ``history.unit_age`` and ``history.unit_call`` made.
    units : pandas.DataFrame
        unit_id, compressor_type, model_family, installed_on, calls, unit_years; at least one row.

    Returns
    -------
    UsualCalls
        Scaled so that the calls so far add up to those seen; where the fleet has no call at all, half a call is
        spread over it.
    """
    cells = _cells(histories, units)
    seen = units["calls"].sum()
    if seen == 0:
        years = units["unit_years"].to_numpy(dtype=np.float64)
        return UsualCalls(so_far=0.5 * years / years.sum(), next_year=np.full(years.size, 0.5 / years.sum()))
    pooled = cells.groupby(["band", "kind"], as_index=False)[["calls", "years"]].sum()
    ahead = _year_ahead(histories, units)
    every = pd.concat([pooled, ahead[["band", "kind"]]], ignore_index=True)
    design = design_matrix(every, ["band", "kind"], baselines=_most_time(pooled)).matrix
    fit = fit_poisson(
        design[: len(pooled)],
        pooled["calls"].to_numpy(dtype=np.float64),
        exposure=pooled["years"].to_numpy(),
        prior_sd=_PRIOR_SD,
    )
    rates = np.exp(design @ fit.coefficients)
    pooled["rate"] = rates[: len(pooled)]
    expected = cells.merge(pooled[["band", "kind", "rate"]], on=["band", "kind"])
    by_unit = (expected["years"] * expected["rate"]).groupby(expected["unit_id"]).sum()
    so_far = by_unit.loc[units["unit_id"]].to_numpy(dtype=np.float64)
    scale = seen / so_far.sum()
    next_year = pd.Series(ahead["share"].to_numpy() * rates[len(pooled) :]).groupby(ahead["unit_id"].to_numpy()).sum()
    return UsualCalls(so_far=so_far * scale, next_year=next_year.loc[units["unit_id"]].to_numpy() * scale)


def make_bands(histories: Histories) -> None:
    """Make ``history.unit_age`` and ``history.unit_call`` (sql/unit_age.sql)."""
    bands = pd.DataFrame({"band": BAND_EDGES[:-1], "from_year": BAND_EDGES[:-1], "to_year": BAND_EDGES[1:]})
    histories.database.run_frame("create or replace table history.age_band as select * from bands", "bands", bands)
    histories.database.run_file("fleet.analysis", "unit_age")


def _cells(histories: Histories, units: pd.DataFrame) -> pd.DataFrame:
    """Return one row a unit and age band: calls and years."""
    years = histories.database.frame("select unit_id, band, years from history.unit_age order by all")
    kinds = units[["unit_id", "installed_on"]].assign(kind=_kind(units))
    calls = histories.database.frame("select unit_id, day from history.unit_call where not on_plan order by all")
    aged = calls.merge(kinds, on="unit_id")
    aged["band"] = _band_of(aged["installed_on"], pd.to_datetime(aged["day"]))
    counts = aged.groupby(["unit_id", "band"], as_index=False).size().rename(columns={"size": "calls"})
    cells = years.merge(counts, on=["unit_id", "band"], how="left").merge(kinds[["unit_id", "kind"]], on="unit_id")
    return cells.assign(calls=cells["calls"].fillna(0.0))


def _year_ahead(histories: Histories, units: pd.DataFrame) -> pd.DataFrame:
    """Return one row a unit and age band of the twelve months to come, with the share of the year in it."""
    today = pd.Timestamp(histories.as_of)
    parts = []
    for half in (0, 1):
        # a year lies in at most two bands; its quarters say well enough how it is divided
        for quarter in (0, 1):
            middle = today + pd.Timedelta(days=DAYS_PER_YEAR * (half / 2 + quarter / 4 + 1 / 8))
            band = _band_of(units["installed_on"], pd.Series(middle, index=units.index))
            parts.append(pd.DataFrame({"unit_id": units["unit_id"], "band": band, "kind": _kind(units), "share": 0.25}))
    return pd.concat(parts, ignore_index=True)


def _kind(units: pd.DataFrame) -> pd.Series:
    return units["compressor_type"] + " " + units["model_family"]


def _band_of(installed_on: pd.Series, day: pd.Series) -> pd.Series:
    age = (day - pd.to_datetime(installed_on)).dt.days / DAYS_PER_YEAR
    place = np.searchsorted(BAND_EDGES, age.fillna(0.0), side="right") - 1
    band = np.array(BAND_EDGES)[np.clip(place, 0, len(BAND_EDGES) - 2)]
    return pd.Series(np.where(age.isna(), -1, band), index=installed_on.index)


def _most_time(pooled: pd.DataFrame) -> dict[str, str]:
    return {name: str(pooled.groupby(name)["years"].sum().idxmax()) for name in ("band", "kind")}
