"""Judge every lot of a component: bands of age in, p-values and names out.

A bad lot among the others makes them look worse than they are and hides the next; so lots are named one after the
other, and those named are left out of what the rest are compared with.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fleet.analysis.lot_test import conditional_midp, early_failures_p, large_enough
from fleet.analysis.poisson import FloatArray, benjamini_hochberg

AGE_DAYS = (0, 91, 183, 365, 548, 731, 1461, 100_000)
"""Edges of the age bands, days."""

EARLY_BANDS = 5
"""The first bands, up to two years: a badly made part mostly fails early."""

FALSE_DISCOVERY = 0.10

FEWEST_FITTED = 5
"""Smaller lots aren't judged: one part that died at once says nothing of the box it came in."""

FEWEST_FAILED = 3
"""Nor is a lot named for one or two failures."""

_MOST_ROUNDS = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class Bands:
    """Failures and weighted time at risk by age band."""

    failed: FloatArray
    weight: FloatArray

    @classmethod
    def of(cls, pieces: pd.DataFrame) -> Bands:
        """Sum up pieces with columns band, failed and weight."""
        code, n = pieces["band"].to_numpy(dtype=np.intp), len(AGE_DAYS) - 1
        summed = [
            np.bincount(code, weights=pieces[name].to_numpy(dtype=np.float64), minlength=n).astype(np.float64)
            for name in ("failed", "weight")
        ]
        return cls(failed=summed[0], weight=summed[1])

    def without(self, other: Bands) -> Bands:
        """Return what is left without another's, which are among these."""
        return Bands(failed=self.failed - other.failed, weight=np.maximum(self.weight - other.weight, 0.0))


def judge_lots(pieces: pd.DataFrame) -> pd.DataFrame:
    """Compare each lot with the other parts of its component at the same age.

    Parameters
    ----------
    pieces : DataFrame
        One row a part and band of age: component, part_no, lot (missing where none is written), spell_id, band, failed
        (true or false), years, and weight (years times how often units like its own need the component).

    Returns
    -------
    DataFrame
        One row a component, part number and lot: fitted, failed, expected, ratio, p_value, alert (true or false),
        failed_early, expected_early, years, note.
    """
    columns = ["component", "part_no", "lot", "fitted", "failed", "expected", "ratio", "p_value", "alert"]
    columns += ["failed_early", "expected_early", "years", "note"]
    lots: list[dict[str, object]] = []
    bands: list[Bands] = []
    whole: dict[str, Bands] = {}
    for component, group in pieces.groupby("component"):
        whole[str(component)] = Bands.of(group)
        named = group.dropna(subset=["lot"])
        for _, own in named.groupby([named["part_no"].fillna(""), "lot"]):
            lots.append(_label(str(component), own))
            bands.append(Bands.of(own))
    if not lots:
        return pd.DataFrame(columns=columns)
    table = pd.DataFrame(lots)
    judged = _name_one_by_one(table, bands, whole)
    return pd.concat([table, judged], axis=1)[columns]


def _label(component: str, own: pd.DataFrame) -> dict[str, object]:
    return {
        "component": component,
        "part_no": own["part_no"].fillna("").iloc[0],
        "lot": own["lot"].iloc[0],
        "fitted": own["spell_id"].nunique(),
        "failed": int(own["failed"].sum()),
        "years": float(own["years"].sum()),
    }


def _name_one_by_one(table: pd.DataFrame, bands: list[Bands], whole: dict[str, Bands]) -> pd.DataFrame:
    named: set[int] = set()
    judged = _judge_all(table, bands, whole, named)
    for _ in range(_MOST_ROUNDS):
        found = set(np.flatnonzero(judged["alert"]).tolist()) - named
        if not found:
            break
        named.add(min(found, key=lambda i: judged["p_value"].iloc[i]))
        again = _judge_all(table, bands, whole, named)
        if not set(np.flatnonzero(again["alert"]).tolist()) >= named:
            break
        judged = again
    return judged


def _judge_all(table: pd.DataFrame, bands: list[Bands], whole: dict[str, Bands], named: set[int]) -> pd.DataFrame:
    rows = []
    for i, (component, fitted) in enumerate(zip(table["component"], table["fitted"], strict=True)):
        others = whole[component].without(bands[i])
        for j in named - {i}:
            if table["component"].iloc[j] == component:
                others = others.without(bands[j])
        rows.append(_compare(bands[i], others, int(fitted)))
    judged = pd.DataFrame(rows)
    enough = table["fitted"].to_numpy() >= FEWEST_FITTED
    p_values = judged["p_value"].to_numpy(dtype=np.float64)
    able = enough & large_enough(
        np.where(enough, judged["least_p"].to_numpy(dtype=np.float64), np.nan), FALSE_DISCOVERY
    )
    passed = benjamini_hochberg(np.where(able, p_values, np.nan), FALSE_DISCOVERY)
    judged["alert"] = passed & (table["failed"].to_numpy() >= FEWEST_FAILED)
    small = ~able & ~np.isnan(p_values) & (judged["note"] == "").to_numpy()
    judged.loc[small, "note"] = np.where(
        enough[small],
        "too few parts: even if all failed it couldn't be told from chance",
        f"fewer than {FEWEST_FITTED} parts: not judged",
    )
    return judged


def _compare(mine: Bands, others: Bands, fitted: int) -> dict[str, object]:
    """Compare a lot with everyone else in the bands where both were at risk."""
    risky = (mine.weight > 0) & (others.weight > 1e-9)
    early = risky & (np.arange(risky.size) < EARLY_BANDS)
    usual = np.divide(others.failed, others.weight, out=np.zeros(risky.size), where=others.weight > 1e-9) * mine.weight
    row: dict[str, object] = {
        "expected": float(usual[risky].sum()) if risky.any() else np.nan,
        "ratio": np.nan,
        "p_value": np.nan,
        "least_p": np.nan,
        "failed_early": int(mine.failed[early].sum()),
        "expected_early": float(usual[early].sum()) if early.any() else np.nan,
        "note": "" if usual[risky].sum() > 0 else "no other part failed at this age, so no ratio",
    }
    if not risky.any():
        return row | {"note": "no other part of the component was at risk at this age"}
    counts = mine.failed[risky] + others.failed[risky]
    shares = mine.weight[risky] / (mine.weight[risky] + others.weight[risky])
    if usual[risky].sum() > 0:
        row["ratio"] = float(mine.failed[risky].sum() / usual[risky].sum())
    return row | {
        "p_value": early_failures_p(counts, shares, mine.failed[risky]),
        "least_p": conditional_midp(counts, shares, min(fitted, int(counts.sum()))),
    }
