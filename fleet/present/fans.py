"""How wide is the forecast? Summed futures as a fan: the middle, the inner 50 % and the outer 90 %."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from fleet.planning.demand import DemandForecast

QUANTILES = (0.05, 0.25, 0.50, 0.75, 0.95)
FAN_COLUMNS = ("mean", "q05", "q25", "q50", "q75", "q95")


def fan_table(demand: DemandForecast, key: Sequence[str], *, prop: str = "", building: str = "") -> pd.DataFrame:
    """Return pieces needed, summed future by future to the values of ``key``: mean and five quantiles.

    Parameters
    ----------
    demand : DemandForecast
    key : sequence of str
        Columns of the forecast's cells (property, building, part_no, component, why); empty for one line in all.
    prop, building : str
        Only the needs of this property, this building; blank for all.

    Notes
    -----
    Futures are summed, never quantiles: the sum of 95 % quantiles is no 95 % quantile. Refrigerant is left out, since
    it is counted in pounds.
    """
    cells = demand.cells
    chosen = (cells["component"] != "refrigerant").to_numpy().copy()
    for column, value in (("property", prop), ("building", building)):
        chosen &= (cells[column] == value).to_numpy() if value else True
    kept = cells.loc[chosen, list(key)].reset_index(drop=True)
    groups = kept.drop_duplicates().reset_index(drop=True)
    if not len(kept):
        return pd.DataFrame(columns=[*key, *FAN_COLUMNS])
    summed = np.zeros((demand.draws.shape[0], max(len(groups), 1)))
    codes = kept.groupby(list(key), sort=False).ngroup().to_numpy() if key else np.zeros(chosen.sum(), dtype=int)
    for cell, code in zip(np.flatnonzero(chosen), codes, strict=True):
        summed[:, code] += demand.draws[:, cell]
    table = groups if key else pd.DataFrame(index=[0])
    table["mean"] = summed.mean(axis=0)
    for name, q in zip(FAN_COLUMNS[1:], np.quantile(summed, QUANTILES, axis=0, method="inverted_cdf"), strict=True):
        table[name] = q
    return table
