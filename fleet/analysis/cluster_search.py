"""Scan every component of every property: what both scans, and what they could see, are made from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from fleet.analysis.poisson import FloatArray
from fleet.analysis.scan import IntArray
from fleet.analysis.scan_baseline import UsualWeeks, usual_weeks
from fleet.histories.build import Histories

MAX_WEEKS = 13
"""Longest window, weeks: a quarter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ComponentWeeks:
    """One component's failures in one property (``place``): building and week of each, and the weeks' usual course.

    ``usual`` has shape (buildings, weeks): each building's usual failures by week, up to a factor of its own.
    """

    place: str
    component: str
    buildings: pd.Index
    building: IntArray
    week: IntArray
    usual: FloatArray = field(repr=False)

    @property
    def seen(self) -> FloatArray:
        """Failures by building and week."""
        counts = np.zeros(self.usual.shape)
        np.add.at(counts, (self.building, self.week), 1.0)
        return counts


def counted_failures(histories: Histories) -> pd.DataFrame:
    """Return every counted failure chain: property, building, component, day, week from the window's first day."""
    chains = histories.database.frame(
        "select property, building, component, failed_on from history.chain where counted order by chain_id"
    )
    first = pd.Timestamp(histories.window[0])
    chains["week"] = (pd.to_datetime(chains["failed_on"]) - first).dt.days // 7
    return chains


def count_weeks(histories: Histories) -> int:
    """Return the weeks from the window's first day to the as-of day, the last one perhaps begun only."""
    return ((histories.as_of - histories.window[0]).days // 7) + 1


def component_weeks(histories: Histories, chains: pd.DataFrame) -> Iterator[ComponentWeeks]:
    """Yield each component that failed in each property, with the usual course of its weeks."""
    n_weeks = count_weeks(histories)
    for place, failures in chains.groupby("property"):
        usual = usual_weeks(histories, str(place), failures["week"].to_numpy(dtype=np.int64), n_weeks)
        for component, group in failures.groupby("component"):
            yield _component(usual, str(place), str(component), group)


def _component(usual: UsualWeeks, place: str, component: str, group: pd.DataFrame) -> ComponentWeeks:
    building = usual.buildings.get_indexer(pd.Index(group["building"])).astype(np.int64)
    week = group["week"].to_numpy(dtype=np.int64)
    return ComponentWeeks(
        place=place,
        component=component,
        buildings=usual.buildings,
        building=building,
        week=week,
        usual=usual.shares(building, week),
    )
