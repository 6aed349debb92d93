"""What a piece costs where the catalogue doesn't say: the last price paid, else a like part's."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fleet.histories.build import Histories

NO_PRICE = 40.0
"""Money a piece, where not one price is known: about a small part's; only how many to keep rests on it, no cost."""


def fill_prices(histories: Histories, lines: pd.DataFrame) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Add ``price`` (what decisions use) and ``price_note`` to stock lines.

    ``unit_cost`` is the catalogue's, else the last price paid for that part number; blank where neither is known.
    ``price`` is then the middle price of the component's parts, so that the line can still be planned.
    """
    paid = histories.database.frame(
        "select part_no, arg_max(unit_cost, day)::double as paid from history.part "
        "where unit_cost > 0 and part_no is not null group by part_no"
    )
    lines = lines.merge(paid, on="part_no", how="left")
    catalogue = lines["unit_cost"]
    lines["unit_cost"] = catalogue.fillna(lines["paid"])
    middle = lines.groupby("component")["unit_cost"].transform("median")
    lines["price"] = (
        lines["unit_cost"].fillna(middle).fillna(lines["unit_cost"].median()).fillna(NO_PRICE).clip(lower=0.01)
    )
    unknown = lines["part_no"] == "part number unknown"
    lines["price_note"] = np.select(
        [unknown, catalogue.isna() & lines["paid"].notna(), lines["unit_cost"].isna()],
        ["find the part number before ordering", "not in the catalogue: last price paid", "no price known"],
        default="",
    )
    notes = []
    if unknown.any():
        notes.append("Some needs have no part number in catalogue or log: they are listed without a price.")
    return lines.drop(columns="paid"), tuple(notes)
