"""Which lots of parts fail early? Each lot against the other parts of its component, at the same age.

Only parts fitted in the log count, since only theirs are the lot and the age known. Given how many parts of all lots
failed in each band of age, those of one lot are binomial in its share of the time at risk, band by band; so the test
is exact, whatever the failure rate does with age. Sources: the conditional test of two Poisson rates, J. Przyborowski
and H. Wilenski, Biometrika 31 (1940), stratified; Y. Benjamini and Y. Hochberg, J. R. Stat. Soc. B 57 (1995); P. B.
Gilbert, J. R. Stat. Soc. C 54 (2005), false discovery among counts too small to show anything (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from fleet.analysis.poisson import FloatArray, benjamini_hochberg
from fleet.analysis.shrinkage import shrink_rates
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories

FALSE_DISCOVERY = 0.10

AGE_DAYS = (0, 91, 183, 365, 731, 1461, 100_000)
"""Edges of the age bands, days."""

EARLY_BANDS = 4
"""The first bands, up to two years: a badly made part mostly fails early."""

EARLY_WEIGHT = 0.8
"""Share of the error allowed to the test of early failures; the rest goes to the test of all failures."""

COLUMNS = (
    AnswerColumn(name="part_no", kind="text", meaning="the part number"),
    AnswerColumn(name="lot", kind="text", meaning="the maker's date or lot code"),
    AnswerColumn(name="fitted", kind="count", meaning="parts of the lot fitted in the log"),
    AnswerColumn(name="failed", kind="count", meaning="those that failed since"),
    AnswerColumn(name="expected", kind="number", meaning="failures had they been like the other lots at their age"),
    AnswerColumn(name="ratio", kind="number", meaning="failed ÷ expected"),
    AnswerColumn(
        name="p_value",
        kind="number",
        meaning="chance of so many failures, early or in all, were it like other lots",
    ),
    AnswerColumn(name="alert", kind="yesno", meaning="yes after false-discovery control at 10 % over all lots"),
    AnswerColumn(name="failed_early", kind="count", meaning="those that failed within two years of fitting"),
    AnswerColumn(
        name="expected_early", kind="number", meaning="failures within two years, were it like the other lots"
    ),
    AnswerColumn(name="component", kind="text", meaning="what it is a part of"),
    AnswerColumn(name="years", kind="number", meaning="time at risk of its parts", unit="years"),
    AnswerColumn(name="property", kind="text", meaning="blank: all together"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)

_METHOD = (
    "Failures of parts fitted in the log against those of all other parts of the component at the same age, time at "
    "risk weighted by the model family's rate; exact conditional test by age band, mid-P, of failures within two years "
    "and of all, four fifths of the error allowed to the first; false discovery 10 % among lots large enough."
)


def screen_lots(histories: Histories) -> Answer:
    """Say which lots fail more than other parts of their component at the same age.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.

    Returns
    -------
    Answer
        One row a part number and lot fitted in the log, smallest p-value first (`COLUMNS`). Expected, ratio and
        p-value are blank where no other part of the component was at risk at the lot's ages.

    Notes
    -----
    Expected failures come from all parts but the lot's own (leave-one-out), part numbers of the component together and
    parts without a written lot among them. Time at risk is weighted by how often the model family's units need that
    component (shrunk toward the fleet), so that a lot isn't blamed for the units it went into. A lot that was fitted
    by one hand or in one hot summer may still be blamed for it: look before sending it back.
    """
    bands = pd.DataFrame({"band": range(len(AGE_DAYS) - 1), "from_day": AGE_DAYS[:-1], "to_day": AGE_DAYS[1:]})
    histories.database.run_frame(
        "create or replace table history.lot_age as select columns(*)::integer from bands",
        "bands",
        bands,
    )
    histories.database.run_file("fleet.analysis", "lot_band")
    pieces = histories.database.frame("select * from history.lot_band order by spell_id, band")
    pieces["weight"] = pieces["years"] * _family_weights(histories, pieces)
    rows = [row for _, group in pieces.groupby("component") for row in _screen_component(group)]
    table = pd.DataFrame(rows, columns=[c.name for c in COLUMNS])
    p_values = table["p_value"].to_numpy(dtype=np.float64)
    least = np.array([row["least_p"] for row in rows], dtype=np.float64)
    able = large_enough(least, FALSE_DISCOVERY)
    table["alert"] = np.where(benjamini_hochberg(np.where(able, p_values, np.nan), FALSE_DISCOVERY), "yes", "no")
    small = ~able & ~np.isnan(p_values)
    table.loc[small & (table["note"] == ""), "note"] = (
        "too few parts: even if all failed it couldn't be told from chance"
    )
    table = table.sort_values(["p_value", "part_no", "lot"], na_position="last")
    one_a_part = pieces.drop_duplicates("spell_id")
    nameless = int(one_a_part["lot"].isna().sum())
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="lots",
        method=_METHOD,
        n_used=len(one_a_part),
        notes=_notes(table),
        excluded={"parts fitted without a lot, used for comparison only": nameless} if nameless else {},
        settings={"false_discovery": FALSE_DISCOVERY},
    )


def conditional_midp(counts: FloatArray, shares: FloatArray, seen: int) -> float:
    """Return the mid-P chance that a group has ``seen`` or more of the failures.

    Parameters
    ----------
    counts : ndarray of int
        Failures of everyone in each band.
    shares : ndarray
        The group's share of the time at risk in each band, 0 to 1.
    seen : int
        The group's failures over all bands.

    Notes
    -----
    The sum of independent binomials, by convolution; one band gives the conditional test of two Poisson rates.
    """
    laws = [stats.binom.pmf(np.arange(int(n) + 1), int(n), share) for n, share in zip(counts, shares, strict=True)]
    law = reduce(np.convolve, laws, np.ones(1))
    return float(min(1.0, law[seen + 1 :].sum() + 0.5 * law[seen]))


def large_enough(least_p: FloatArray, q: float) -> npt.NDArray[np.bool_]:
    """Say which tests could reach significance at all among ``K`` like them; the others needn't be allowed for.

    Parameters
    ----------
    least_p : ndarray
        The smallest p-value each test could have had; not a number where there is no test.
    q : float
        False discovery rate.

    Source
    ------
    Gilbert (2005): the smallest K with at most K tests able to reach q/K.
    """
    for k in range(1, least_p.size + 1):
        able: npt.NDArray[np.bool_] = least_p <= q / k
        if able.sum() <= k:
            return able
    return ~np.isnan(least_p)


def _screen_component(pieces: pd.DataFrame) -> list[dict[str, object]]:
    every = _Bands.of(pieces["band"], pieces["failed"], pieces["weight"])
    named = pieces.dropna(subset=["lot"])
    rows = []
    for _, own in named.groupby([named["part_no"].fillna(""), "lot"]):
        row = {
            "part_no": own["part_no"].fillna("").iloc[0],
            "lot": own["lot"].iloc[0],
            "fitted": own["spell_id"].nunique(),
            "failed": int(own["failed"].sum()),
            "component": str(own["component"].iloc[0]),
            "years": float(own["years"].sum()),
            "property": "",
        }
        rows.append(
            row | _judge(_Bands.of(own["band"], own["failed"], own["weight"]), every, own["spell_id"].nunique())
        )
    return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bands:
    """Failures and weighted time at risk by age band."""

    failed: FloatArray
    weight: FloatArray

    @classmethod
    def of(cls, band: pd.Series, failed: pd.Series, weight: pd.Series) -> _Bands:
        code, n = band.to_numpy(dtype=np.intp), len(AGE_DAYS) - 1
        return cls(
            failed=np.bincount(code, weights=failed.to_numpy(dtype=np.float64), minlength=n).astype(np.float64),
            weight=np.bincount(code, weights=weight.to_numpy(dtype=np.float64), minlength=n).astype(np.float64),
        )

    def early(self) -> _Bands:
        return _Bands(failed=self.failed[:EARLY_BANDS], weight=self.weight[:EARLY_BANDS])


def _judge(mine: _Bands, every: _Bands, fitted: int) -> dict[str, object]:
    whole, early = _compare(mine, every, fitted), _compare(mine.early(), every.early(), fitted)
    note = "" if whole.expected > 0 else "no other part failed at this age, so no ratio"
    if np.isnan(whole.expected):
        note = "no other part of the component was at risk at this age"
    return {
        "expected": whole.expected,
        "ratio": whole.seen / whole.expected if whole.expected > 0 else np.nan,
        "p_value": _weighted(early.p_value, whole.p_value),
        "least_p": _weighted(early.least_p, whole.least_p),
        "failed_early": early.seen,
        "expected_early": early.expected,
        "note": note,
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class _Compared:
    seen: int
    expected: float
    p_value: float
    least_p: float


def _weighted(early: float, whole: float) -> float:
    """Return the p-value of the two tests together (weighted Bonferroni)."""
    both = [early / EARLY_WEIGHT, whole / (1.0 - EARLY_WEIGHT)]
    return float(min(1.0, np.nanmin(both))) if not np.isnan(both).all() else np.nan


def _compare(mine: _Bands, every: _Bands, fitted: int) -> _Compared:
    """Compare a lot with everyone else in the bands where both were at risk."""
    others_failed, others_weight = every.failed - mine.failed, every.weight - mine.weight
    risky = (mine.weight > 0) & (others_weight > 1e-9)
    seen = int(mine.failed[risky].sum())
    if not risky.any():
        return _Compared(seen=seen, expected=np.nan, p_value=np.nan, least_p=np.nan)
    counts, shares = every.failed[risky], mine.weight[risky] / every.weight[risky]
    return _Compared(
        seen=seen,
        expected=float((others_failed[risky] / others_weight[risky] * mine.weight[risky]).sum()),
        p_value=conditional_midp(counts, shares, seen),
        least_p=conditional_midp(counts, shares, min(fitted, int(counts.sum()))),
    )


def _family_weights(histories: Histories, pieces: pd.DataFrame) -> FloatArray:
    """Return how often each piece's model family needs its component, 1 = like the fleet."""
    chains = histories.database.frame(
        "select c.component, coalesce(u.model_family, 'unknown') as model_family, count(*) as n "
        "from history.chain as c join history.unit as u using (unit_id) where c.counted group by all"
    )
    years = histories.database.frame(
        "select coalesce(u.model_family, 'unknown') as model_family, sum(e.days) / 365.25 as years "
        "from history.exposure as e join history.unit as u using (unit_id) group by all order by all"
    )
    weights = pd.Series(1.0, index=pieces.index)
    for component, index in pieces.groupby("component").groups.items():
        n = chains.loc[chains["component"] == component].set_index("model_family")["n"]
        failures = n.reindex(years["model_family"]).fillna(0.0).to_numpy(dtype=np.float64)
        if failures.sum() == 0 or len(years) < 3:
            continue
        shrunk = shrink_rates(failures, years["years"] * failures.sum() / years["years"].sum())
        factor = dict(zip(years["model_family"], shrunk.mean, strict=True))
        weights.loc[index] = pieces.loc[index, "model_family"].map(factor).fillna(1.0)
    return np.asarray(weights, dtype=np.float64)


def _notes(table: pd.DataFrame) -> list[str]:
    if table.empty:
        return ["No part fitted in the log has a lot code: nothing can be said about lots; write the date code down."]
    named = table.loc[table["alert"] == "yes"]
    notes = [
        f"{len(named)} of {len(table)} lots fail more than the rest by more than chance allows"
        + (
            ": " + ", ".join(f"{p} lot {lot}" for p, lot in zip(named["part_no"], named["lot"], strict=True))
            if len(named)
            else ""
        )
        + f"; of lots named this way about {FALSE_DISCOVERY:.0%} are false."
    ]
    small = int((table["expected"] < 1).sum())
    if small:
        notes.append(
            f"{small} lots expect under one failure: such a lot must fail many times over the usual before it shows, "
            "so no alert is no proof that it is good."
        )
    return notes
