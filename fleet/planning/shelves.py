"""Which shelf meets which need, what stands on it, and what each part costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.histories.build import Histories
from fleet.planning.demand import DemandForecast
from fleet.planning.past_seasons import codes_of, sum_columns

Shelves = Literal["building", "shop"]
SHOP = "shop"
LINE = ["property", "location", "part_no", "component"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfLines:
    """One line a shelf and part number, with the needs it has to meet in each drawn future.

    ``lines`` has LINE and on_hand, on_order, unit_cost (not a number where unknown), pack_size, lead_time_days;
    ``draws`` has one column a line; ``vans`` is stock on vans and shelves no line needs, listed as it stands.
    """

    lines: pd.DataFrame
    draws: npt.NDArray[np.int32]
    idle: pd.DataFrame


def read_shelves(histories: Histories, demand: DemandForecast, shelves: Shelves) -> ShelfLines:
    """Send each building's needs to its own shelf, else (and for refrigerant) to the shop; add stock and prices."""
    histories.database.run_file("fleet.planning", "shelf_now")
    own = histories.database.frame("from history.shelf")
    has_shelf = set(zip(own["property"], own["location"], strict=True)) if shelves == "building" else set()
    cells = demand.cells.copy()
    # cylinders stay in the shop, with the certified people who may open the circuit
    at_home = [
        (prop, building) in has_shelf and component != "refrigerant"
        for prop, building, component in zip(cells["property"], cells["building"], cells["component"], strict=True)
    ]
    cells["location"] = np.where(at_home, cells["building"], SHOP)
    codes, lines = codes_of(cells, LINE)
    draws = sum_columns(demand.draws, codes, len(lines))
    stock = histories.database.frame("select property, location, part_no, on_hand, on_order from history.shelf_stock")
    lines = lines.merge(stock, on=["property", "location", "part_no"], how="left")
    lines[["on_hand", "on_order"]] = lines[["on_hand", "on_order"]].fillna(0.0)
    catalogue = histories.database.frame(
        "select part_no, component as catalogue_component, unit_cost::double as unit_cost, lead_time_days, pack_size "
        "from log.clean.catalogue"
    )
    lines = lines.merge(catalogue.drop(columns="catalogue_component"), on="part_no", how="left")
    return ShelfLines(lines=lines, draws=draws, idle=_idle(stock, lines, catalogue))


def _idle(stock: pd.DataFrame, lines: pd.DataFrame, catalogue: pd.DataFrame) -> pd.DataFrame:
    """Return stock that no line needs: vans, shelves without needs, parts nobody takes."""
    key = ["property", "location", "part_no"]
    merged = stock.merge(lines[key], on=key, how="left", indicator=True)
    idle = merged[merged["_merge"] == "left_only"].drop(columns="_merge")
    return idle.merge(catalogue, on="part_no", how="left").rename(columns={"catalogue_component": "component"})
