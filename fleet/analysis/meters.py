"""Which meter reads high? Each meter against the others, on the parts they both measured.

A part's own level and the drift of its section between two readings are taken out first, so a meter isn't blamed for
the parts it met. Only differences between meters show in a log: the plain mean over meters is set to zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import sparse, stats

from fleet.analysis.poisson import FloatArray, check_level
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR, LEVEL

COLLAPSED_PCT = -15.0
"""A section further below rated than this has failed; it no longer tells of drift or of meters."""

COLUMNS = (
    AnswerColumn(name="meter", kind="text", meaning="the meter"),
    AnswerColumn(name="readings", kind="count", meaning="its readings used"),
    AnswerColumn(
        name="bias_pct", kind="number", meaning="how high it reads; the plain mean over meters is zero", unit="percent"
    ),
    AnswerColumn(name="low", kind="number", meaning="low end of bias_pct", unit="percent"),
    AnswerColumn(name="high", kind="number", meaning="high end of bias_pct", unit="percent"),
    AnswerColumn(name="property", kind="text", meaning="blank: all together"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)

_METHOD = (
    "Least squares of bench readings on part, meter, and drift by section, large residuals weighed down (Huber); "
    "limits from the spread between units (t)."
)


def estimate_meters(histories: Histories, *, level: float = LEVEL) -> Answer:
    """Say how high or low each meter reads, against the average meter.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of ``low`` and ``high``.

    Returns
    -------
    Answer
        One row a meter named in the readings of run capacitors (`COLUMNS`); bias blank, with the reason, where it
        shares no part with the other meters or is the only one.

    Raises
    ------
    AnalysisError
        When the level is out of range.

    Notes
    -----
    Only sections read at least twice by bench count, and only parts read with two meters tell one from another. Zeros,
    absurd readings and sections more than 15 % below rated are left out. All meters may be wrong together: that takes a
    reference capacitor to see.
    """
    check_level(level)
    histories.database.run_file("fleet.analysis", "capacitor_part")
    every = histories.database.frame(
        "select unit_id, nth, section, day, dev_pct, meter, technician, method from history.capacitor_reading "
        "where use = 'yes' order by unit_id, nth, section, reported_at, stage"
    )
    usable = (every["method"] == "bench") & every["meter"].notna() & (every["dev_pct"] > COLLAPSED_PCT)
    used = every.loc[usable].reset_index(drop=True)
    table = _table(used, level)
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="meters",
        method=_METHOD,
        n_used=int(table["readings"].sum()),
        notes=_notes(table, used),
        excluded=_excluded(histories, every),
        settings={"level": level},
    )


def _table(used: pd.DataFrame, level: float) -> pd.DataFrame:
    codes, names = pd.factorize(used["meter"], sort=True)
    rows = pd.DataFrame({"meter": pd.Series(names, dtype=object), "readings": np.bincount(codes, minlength=len(names))})
    rows = rows.assign(bias_pct=np.nan, low=np.nan, high=np.nan, property="", note="")
    if len(rows) == 1:
        rows["note"] = "the only meter: nothing to compare it with"
    elif len(rows):
        bias = _estimate(used, codes.astype(np.intp), len(names), level)
        rows["bias_pct"], rows["low"], rows["high"] = bias.value, bias.low, bias.high
        rows.loc[np.isnan(bias.value), "note"] = "shares no part with the main group of meters: can't be compared"
        rows.loc[~np.isnan(bias.value) & np.isnan(bias.low), "note"] = "too few units for an interval"
    return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bias:
    value: FloatArray
    low: FloatArray
    high: FloatArray


def _estimate(used: pd.DataFrame, meter: npt.NDArray[np.intp], n_meters: int, level: float) -> _Bias:
    part = used.groupby(["unit_id", "nth", "section"], sort=False).ngroup().to_numpy().astype(np.intp)
    group = linked_meters(meter, part, n_meters)
    blank = np.full(n_meters, np.nan)
    if group.sum() < 2:
        return _Bias(value=blank, low=blank, high=blank)
    years = (pd.to_datetime(used["day"]) - pd.to_datetime(used["day"]).min()).dt.days.to_numpy() / DAYS_PER_YEAR
    fan = (used["section"] == "fan").to_numpy()
    # a meter's error is a share of what it reads, so it adds up on the log scale
    deviation = 100.0 * np.log1p(used["dev_pct"].to_numpy(dtype=np.float64) / 100.0)
    design = np.column_stack([meter[:, None] == np.arange(n_meters)[None, :], years * fan, years * ~fan]).astype(float)
    design[:, :n_meters] *= group[None, :]
    rows = group[meter]
    effects, covariance, n_units = _within_parts(
        deviation[rows], design[rows], part[rows], used["unit_id"].to_numpy(dtype=np.int64)[rows]
    )
    centre = np.eye(n_meters)[group] - group[None, :] / group.sum()
    value, variance = blank.copy(), blank.copy()
    value[group] = centre @ effects[:n_meters]
    variance[group] = np.einsum("ij,jk,ik->i", centre, covariance[:n_meters, :n_meters], centre)
    if n_units < 3:
        return _Bias(value=_percent(value), low=blank, high=blank)
    half = float(stats.t.ppf(0.5 + level / 2.0, n_units - 1)) * np.sqrt(variance)
    low, high = value - half, value + half
    # back from log to percent, and the plain mean to zero again
    shift = float(np.nanmean(_percent(value)))
    return _Bias(value=_percent(value) - shift, low=_percent(low) - shift, high=_percent(high) - shift)


def _percent(log_pct: FloatArray) -> FloatArray:
    return np.asarray(100.0 * np.expm1(log_pct / 100.0))


def linked_meters(meter: npt.NDArray[np.intp], part: npt.NDArray[np.intp], n_meters: int) -> npt.NDArray[np.bool_]:
    """Say which meters belong to the largest group linked through parts that several of them measured."""
    n_parts = int(part.max()) + 1 if part.size else 0
    graph = sparse.coo_array((np.ones(meter.size), (meter, n_meters + part)), shape=(n_meters + n_parts,) * 2)
    _, label = sparse.csgraph.connected_components(graph, directed=False)
    readings = np.bincount(label[meter], minlength=int(label.max()) + 1 if label.size else 0)
    sizes = np.bincount(label[:n_meters], minlength=readings.size)
    largest = int(np.lexsort((readings, sizes))[-1])
    linked: npt.NDArray[np.bool_] = label[:n_meters] == largest
    return linked


def _within_parts(
    y: FloatArray, design: FloatArray, part: npt.NDArray[np.intp], unit: npt.NDArray[np.int64]
) -> tuple[FloatArray, FloatArray, int]:
    """Return effects, their unit-clustered covariance, and how many units have a part read twice."""
    weight = np.ones(y.size)
    for _ in range(15):
        x, z = _centred(design, part, weight), _centred(y[:, None], part, weight)[:, 0]
        effects = np.linalg.lstsq(x * np.sqrt(weight)[:, None], z * np.sqrt(weight), rcond=1e-10)[0]
        residual = z - x @ effects
        repeated = np.bincount(part)[part] > 1
        scale = 1.4826 * float(np.median(np.abs(residual[repeated]))) if repeated.any() else 0.0
        if scale <= 0:
            break
        weight = np.minimum(1.0, 2.0 * scale / np.maximum(np.abs(residual), 1e-12))
    bread = np.linalg.pinv((x * weight[:, None]).T @ x, rcond=1e-10)
    _, code = np.unique(unit, return_inverse=True)
    pull = x * (weight * residual)[:, None]
    score = np.stack([np.bincount(code, weights=column) for column in pull.T], axis=1)
    n_units = int(np.unique(unit[repeated]).size)
    meat = score.T @ score * (n_units / max(n_units - 1, 1))
    return effects.astype(np.float64), np.asarray(bread @ meat @ bread, dtype=np.float64), n_units


def _centred(values: FloatArray, part: npt.NDArray[np.intp], weight: FloatArray) -> FloatArray:
    """Subtract each part's weighted mean."""
    total = np.bincount(part, weights=weight)
    means = np.stack([np.bincount(part, weights=weight * column) / total for column in values.T], axis=1)
    return np.asarray(values - means[part])


def _notes(table: pd.DataFrame, used: pd.DataFrame) -> list[str]:
    if table.empty:
        return ["No bench reading names its meter: write down which meter was used to see whether one reads low."]
    if len(table) == 1:
        return [f"All readings name one meter ({table['meter'].iloc[0]}): whether it reads true can't be said."]
    notes = ["Bias is against the average meter; a capacitor of known value would show whether all read high or low."]
    hands = used.dropna(subset=["technician"]).groupby("meter")["technician"].nunique()
    own = used.dropna(subset=["technician"]).groupby("technician")["meter"].nunique()
    if len(hands) and (hands <= 1).all() and (own <= 1).all():
        notes.append(
            "Each meter is in one technician's hands, so a meter can't be told from the way its user measures."
        )
    elif len(hands) and (hands <= 1).any():
        few = ", ".join(hands.index[hands <= 1])
        notes.append(f"{few}: used by one technician only, so the meter can't be told from the way of measuring.")
    apart = table.loc[table["bias_pct"].isna(), "meter"]
    if len(apart):
        notes.append(f"{', '.join(apart)}: no part was measured with this and another meter of the main group.")
    return notes


def _excluded(histories: Histories, every: pd.DataFrame) -> dict[str, int]:
    rows = histories.database.rows(
        "select use, count(*) from history.capacitor_reading where use <> 'yes' group by use order by use"
    )
    counts = {_WHY_NOT[str(use)]: int(n) for use, n in rows}
    bench = every.loc[every["method"] == "bench"]
    counts |= {
        "readings taken running, not with the meter's capacitance range": len(every) - len(bench),
        "readings without a meter's name": int(bench["meter"].isna().sum()),
        "sections more than 15 % below rated": int(
            (bench["meter"].notna() & (bench["dev_pct"] <= COLLAPSED_PCT)).sum()
        ),
    }
    return {reason: n for reason, n in counts.items() if n}


_WHY_NOT = {
    "no sense": "zeros, open sections and absurd readings",
    "no rated value": "readings of sections without a rated value",
    "new part never fitted": "readings of a new part on visits that fitted none",
}
