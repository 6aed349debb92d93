"""Is a new part within its rating? Each part tested before fitting, as read and with its meter set true."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fleet.analysis.meters import estimate_meters
from fleet.histories.build import Histories
from fleet.settings import TOLERANCE_PCT
from fleet.trade.capacitor import OPEN_SECTION_PCT

ABSURD_PCT = 60.0
"""A reading further above its rating than this is a slip of the pen or another part, not a verdict."""


def judge_new_readings(histories: Histories, *, level: float, tolerance_pct: float | None = None) -> pd.DataFrame:
    """Return every reading of a new part with its verdict: good, below, above or open.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Level of the meters' limits (their bias doesn't depend on it).
    tolerance_pct : float, optional
        Judge every run capacitor by this tolerance; else by the one marked for the unit, 6 % where none is.

    Returns
    -------
    pandas.DataFrame
        The columns of ``sql/new_reading.sql`` and: ``least``, ``most`` (limits, microfarads), ``tolerance`` (percent),
        ``assumed`` (no tolerance is marked), ``bias`` (of its meter, percent; not a number where unknown), ``verdict``
        as read, ``verdict_true`` had the meter read true, and ``use``: ``yes``, or why it is left out.
    """
    histories.database.run_file("fleet.analysis", "new_reading")
    readings = histories.database.frame("select * from history.new_reading order by place")
    bias = estimate_meters(histories, level=level).table.set_index("meter")["bias_pct"]
    return _judge(readings, bias, tolerance_pct)


def _judge(readings: pd.DataFrame, bias_pct: pd.Series, tolerance_pct: float | None) -> pd.DataFrame:
    """Add what each reading says of its section, as read and with its meter set true."""
    said = readings.copy()
    start = said["section"] == "start"
    marked = said["tolerance_pct"].astype(np.float64)
    said["assumed"] = ~start & marked.isna() & (tolerance_pct is None)
    tolerance = marked.fillna(TOLERANCE_PCT) if tolerance_pct is None else pd.Series(tolerance_pct, index=said.index)
    said["least"] = (said["own_uf"] * (1 - tolerance / 100)).where(~start, said["own_min"])
    said["most"] = (said["own_uf"] * (1 + tolerance / 100)).where(~start, said["own_max"])
    said["tolerance"] = tolerance.where(~start)
    said["bias"] = said["meter"].map(bias_pct).astype(np.float64)
    rated = said["own_uf"].where(~start, said["own_min"]).astype(np.float64)
    said["verdict"] = _verdicts(said, said["value_uf"].astype(np.float64), rated)
    true_uf = said["value_uf"].astype(np.float64) / (1 + said["bias"].fillna(0.0) / 100)
    said["verdict_true"] = _verdicts(said, true_uf, rated)
    absurd = said["value_uf"] > (1 + ABSURD_PCT / 100) * said["most"]
    said["use"] = np.select(
        [
            said["method"] == "running",
            said["sense"] == "not measured",
            ~(rated > 0) | ~(said["most"] >= said["least"]),
            absurd | (said["value_uf"] < 0),
        ],
        [
            "readings taken running, not a test before fitting",
            "zeros that nothing supports",
            "readings of sections without a rating",
            "absurd readings",
        ],
        default="yes",
    )
    return said


def _verdicts(said: pd.DataFrame, value: pd.Series, rated: pd.Series) -> pd.Series:
    # a reading exactly on a printed limit is inside it, whatever the rounding of the product
    edge = 1e-9 * rated.fillna(0.0)
    is_open = (said["sense"] == "open") | (value < OPEN_SECTION_PCT / 100 * rated)
    below, above = value < said["least"] - edge, value > said["most"] + edge
    return pd.Series(np.select([is_open, below, above], ["open", "below", "above"], default="good"), index=said.index)


def parts_tested(judged: pd.DataFrame) -> pd.DataFrame:
    """Return one row a part tested: the verdicts of its usable sections together (bad, open, below or above)."""
    used = judged.loc[judged["use"] == "yes"]
    keys = ["visit_id", "component", "part_no", "nth"]
    flags = used[[*keys, "lot"]].assign(
        open=used["verdict"] == "open",
        below=used["verdict"] == "below",
        above=used["verdict"] == "above",
        bad=used["verdict"] != "good",
        bad_true=used["verdict_true"] != "good",
        unlisted=~used["listed"].astype(bool),
        mixed=~used["one_lot"].astype(bool),
        assumed=used["assumed"],
        no_meter=used["bias"].isna(),
    )
    # sections of one part agree in their lot; min leaves the blank of mixed lots aside
    whole = flags.groupby(keys, dropna=False, sort=False).agg(
        {
            "lot": "first",
            **dict.fromkeys(
                ("open", "below", "above", "bad", "bad_true", "unlisted", "mixed", "assumed", "no_meter"), "any"
            ),
        }
    )
    whole["below"] &= ~whole["open"]
    whole["above"] &= ~whole["open"] & ~whole["below"]
    return whole.reset_index()
