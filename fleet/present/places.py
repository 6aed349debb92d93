"""Which properties, buildings and units are there, and which rows of an answer belong to one of them?"""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass

import pandas as pd

from fleet.answer import Answer
from fleet.histories.build import Histories
from fleet.store.database import read_sql


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """What a reader may choose from.

    Attributes
    ----------
    walk : DataFrame
        One row a building in walking order: property, building, position, has_shelf, units.
    tags : DataFrame
        One row a tag: equipment_id, property, building, apartment, in_service.
    as_of : datetime.date
        The day the histories are known on.
    window : (datetime.date, datetime.date)
        First and last day of the log.
    """

    walk: pd.DataFrame
    tags: pd.DataFrame
    as_of: dt.date
    window: tuple[dt.date, dt.date]

    def properties(self) -> tuple[str, ...]:
        """Return the names of the properties, in the order of their buildings; a nameless one is left out."""
        return tuple(name for name in self.walk["property"].drop_duplicates() if name)

    def buildings(self, prop: str = "") -> tuple[str, ...]:
        """Return a property's buildings in walking order; none where no property is named and there are several."""
        if not prop and len(self.properties()) > 1:
            return ()
        walk = self.walk if not prop else self.walk[self.walk["property"] == prop]
        return tuple(name for name in walk["building"] if name)

    def units(self, prop: str = "", building: str = "") -> tuple[str, ...]:
        """Return the tags of a property and building, all of them where none is named."""
        tags = self.tags
        tags = tags[tags["property"] == prop] if prop else tags
        tags = tags[tags["building"] == building] if building else tags
        return tuple(tags["equipment_id"])


def read_places(histories: Histories) -> Places:
    """Read the buildings in walking order and every tag of a log."""
    database = histories.database
    return Places(
        walk=database.frame(read_sql("fleet.present", "walk")),
        tags=database.frame(read_sql("fleet.present", "tag")),
        as_of=histories.as_of,
        window=histories.window,
    )


def only(answer: Answer, prop: str = "", building: str = "") -> Answer:
    """Return an answer with the rows of one property and building; all its notes stay.

    Notes
    -----
    A table that doesn't tell properties (or buildings) apart is returned whole: it holds for all of them.
    """
    table = answer.table
    for value, columns in ((prop, ("property",)), (building, ("building", "location"))):
        column = next((name for name in columns if name in table.columns), None)
        if value and column and (table[column] != "").any():
            table = table[table[column] == value]
    return dataclasses.replace(answer, table=table.reset_index(drop=True))


def place_name(prop: str, building: str) -> str:
    """Return how a place is called: "Juniper 3", or "building 3" where the property has no name."""
    return f"{prop} {building}".strip() if prop else f"building {building}"


def in_walking_order(table: pd.DataFrame, places: Places, *, place: str = "building") -> pd.DataFrame:
    """Return rows with the walking position of their building, sorted by it; unknown places (a shop) come last."""
    walk = places.walk[["property", "building", "position"]].rename(columns={"building": place})
    ordered = table.merge(walk, on=["property", place], how="left")
    last = 0 if walk.empty else int(walk["position"].max())
    ordered["position"] = ordered["position"].fillna(last + 1).astype(int)
    return ordered.sort_values(["position", place], kind="stable").reset_index(drop=True)
