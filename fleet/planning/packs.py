"""Full packs: what an order costs when packs are rounded up once a part number, and where their rest goes."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.planning.shelves import SHOP

IntArray = npt.NDArray[np.int64]


def order_money(lines: pd.DataFrame, pieces: IntArray) -> float:
    """Return the money of an order, packs rounded up once a part number."""
    frame = lines.assign(pieces=np.maximum(pieces, 0)).groupby("part_no").agg(
        pieces=("pieces", "sum"), pack=("pack_size", "first"), price=("unit_cost", "first")
    )  # fmt: skip
    pack = pieces_a_pack(frame["pack"])
    packs = -(-frame["pieces"].to_numpy(np.int64) // pack)
    return float((packs * pack * frame["price"].fillna(0.0).to_numpy(float)).sum())


def pieces_a_pack(pack_size: pd.Series) -> IntArray:
    """Return how many pieces a pack holds; one where the catalogue doesn't say."""
    return np.asarray(pack_size.fillna(1).clip(lower=1), dtype=np.int64)


def pack_rest(table: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Return what full packs bring beyond the shelves' needs: one line a part number, to the shop."""
    rest = []
    packs = dict(zip(lines["part_no"], pieces_a_pack(lines["pack_size"]), strict=True))
    for part_no, chosen in table.groupby("part_no"):
        pieces, pack = int(chosen["to_order"].sum()), int(packs[str(part_no)])
        over = -pieces % pack
        if over:
            most = chosen.iloc[int(chosen["to_order"].to_numpy().argmax())]
            rest.append({
                "property": most["property"], "location": SHOP, "part_no": part_no, "component": most["component"],
                "on_hand": 0, "on_order": 0, "target": over, "to_order": over, "unit_cost": most["unit_cost"],
                "cost": over * most["unit_cost"], "p_short": np.nan, "need_mean": np.nan, "need_q05": np.nan,
                "need_q95": np.nan, "one_more_saves": np.nan, "why": "", "note": f"rest of full packs of {pack}",
            })  # fmt: skip
    return pd.DataFrame(rest, columns=table.columns)
