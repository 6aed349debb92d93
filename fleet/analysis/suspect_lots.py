"""Which units still carry a part of a bad lot, which first, and what may the maker still owe?"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd

from fleet.analysis.lot_screen import AGE_DAYS
from fleet.analysis.lots import read_lot_pieces, screen_lots
from fleet.analysis.poisson import FloatArray
from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR
from fleet.store.database import read_sql
from fleet.trade.cautions import cautions_for

HIGH_CHANCE = 0.10
"""From one in ten on a part is better changed than waited for."""

CARRIED_COLUMNS = (
    AnswerColumn(name="equipment_id", kind="text", meaning="the unit's tag"),
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="apartment", kind="text", meaning="what the unit serves"),
    AnswerColumn(name="component", kind="text", meaning="the component"),
    AnswerColumn(name="part_no", kind="text", meaning="the part number"),
    AnswerColumn(name="lot", kind="text", meaning="the maker's date or lot code"),
    AnswerColumn(name="fitted_on", kind="date", meaning="day it was fitted"),
    AnswerColumn(name="age_years", kind="number", meaning="its age on the as-of day", unit="years"),
    AnswerColumn(name="chance", kind="number", meaning="chance that it fails within the next year in service"),
    AnswerColumn(name="usual_chance", kind="number", meaning="the same for the other lots' parts of that age"),
    AnswerColumn(name="priority_home", kind="yesno", meaning="heat is a danger to the resident"),
    AnswerColumn(name="first", kind="text", meaning="what to do first"),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)

CLAIM_COLUMNS = (
    AnswerColumn(name="visit_id", kind="text", meaning="the visit that changed it"),
    AnswerColumn(name="equipment_id", kind="text", meaning="the unit's tag"),
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="failed_on", kind="date", meaning="day of that visit"),
    AnswerColumn(name="component", kind="text", meaning="the component"),
    AnswerColumn(name="part_no", kind="text", meaning="part number fitted in its place"),
    AnswerColumn(name="failed_lot", kind="text", meaning="lot of the part that failed, where it is known"),
    AnswerColumn(name="money", kind="money", meaning="quantity times unit cost as recorded", unit="money"),
    AnswerColumn(name="why", kind="text", meaning="why it may be the maker's to pay"),
    AnswerColumn(name="claim_by", kind="date", meaning="last day of the maker's parts warranty on the unit"),
    AnswerColumn(name="in_time", kind="yesno", meaning="claim_by isn't past on the as-of day; blank: not known"),
    AnswerColumn(name="suspect_lot", kind="yesno", meaning="the part that failed was of a lot named by `lots`"),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="note", kind="text", meaning="why a cell is blank"),
)

_CARRIED_METHOD = (
    "Parts in service of the lots that `lots` names. Chance of failing within a year: the other lots' failures by age, "
    "times the lot's ratio of failures to expected, one failure as usual added to each."
)
_CLAIM_METHOD = (
    "Parts fitted because the old one failed, marked as paid by the maker or on a unit whose parts warranty still ran "
    "on that day, with no credit recorded."
)


def list_suspect_parts(histories: Histories, *, lots: Answer | None = None) -> Answer:
    """Say which units still carry a part of a suspect lot, and which to go to first.

    Parameters
    ----------
    lots : Answer, optional
        What `fleet.analysis.lots.screen_lots` found in these histories, where it is known already.

    Returns
    -------
    Answer
        One row a part in service of a lot with an alert (`CARRIED_COLUMNS`): priority homes first, then by chance of
        failing within a year. No row where no lot is named.
    """
    screened = (lots or screen_lots(histories)).table
    named = screened.loc[screened["alert"] == "yes"]
    _note_suspects(histories, named)
    table = histories.database.frame(read_sql("fleet.analysis", "suspect_part"))
    usual, ratio = _usual_chances(histories, table), _ratios(table, named)
    table["fitted_on"] = pd.Series([_day(day) for day in table["fitted_on"]], index=table.index, dtype=object)
    table["usual_chance"] = -np.expm1(-usual)
    table["chance"] = -np.expm1(-usual * ratio)
    table["first"] = [_first(c, bool(p)) for c, p in zip(table["chance"], table["priority_home"], strict=True)]
    table["priority_home"] = np.where(table["priority_home"].astype(bool), "yes", "no")
    table["note"] = np.where(table["chance"].isna(), "no other part of that age was at risk", "")
    table = table.sort_values(
        ["priority_home", "chance", "property", "building", "equipment_id"], ascending=[False, False, True, True, True]
    )
    return answer_from(
        histories,
        table,
        CARRIED_COLUMNS,
        name="suspect parts",
        method=_CARRIED_METHOD,
        n_used=len(table),
        notes=_carried_notes(table, named),
        settings={"high_chance": HIGH_CHANCE},
    )


def list_claims(histories: Histories, *, lots: Answer | None = None) -> Answer:
    """Say which failed parts may still be claimed from the maker, and by when.

    Parameters
    ----------
    lots : Answer, optional
        As for `list_suspect_parts`.

    Returns
    -------
    Answer
        One row a failed part without a credit (`CLAIM_COLUMNS`), those of suspect lots and the nearest day first.

    Notes
    -----
    The log knows the last day of a unit's parts warranty; what the maker's paper asks beyond that (the old part, its
    lot, a form, a number of days after the repair) it doesn't.
    """
    screened = (lots or screen_lots(histories)).table
    _note_suspects(histories, screened.loc[screened["alert"] == "yes"])
    table = histories.database.frame(read_sql("fleet.analysis", "claim"))
    as_of = histories.as_of
    ends = [_day(value) for value in table["warranty_until"]]
    table["failed_on"] = pd.Series([_day(day) for day in table["failed_on"]], index=table.index, dtype=object)
    table["claim_by"] = pd.Series(ends, index=table.index, dtype=object)
    table["in_time"] = ["" if day is None else "yes" if day >= as_of else "no" for day in ends]
    table["why"] = np.where(
        table["marked"].astype(bool), "marked as paid by the maker", "the unit's parts warranty ran"
    )
    table["suspect_lot"] = np.where(table["suspect"].astype(bool), "yes", "no")
    table["note"] = [_claim_note(day, money) for day, money in zip(ends, table["money"], strict=True)]
    rank = table["in_time"].map({"yes": 0, "": 1, "no": 2})
    far = pd.Series([day or dt.date.max for day in ends], index=table.index, dtype=object)
    table = table.assign(rank=rank, far=far).sort_values(
        ["rank", "suspect_lot", "far", "failed_on", "visit_id"], ascending=[True, False, True, True, True]
    )
    return answer_from(
        histories,
        table,
        CLAIM_COLUMNS,
        name="claims",
        method=_CLAIM_METHOD,
        n_used=len(table),
        notes=_claim_notes(table),
    )


def _note_suspects(histories: Histories, named: pd.DataFrame) -> None:
    suspects = pd.DataFrame({name: named[name].astype(object) for name in ("part_no", "lot", "component")})
    histories.database.run_frame(
        "create or replace table history.suspect_lot as "
        "select nullif(part_no, '')::varchar as part_no, lot::varchar as lot, component::varchar as component "
        "from named",
        "named",
        suspects,
    )


def _usual_chances(histories: Histories, table: pd.DataFrame) -> FloatArray:
    """Return the failures as usual in the next year of each part, by its age, from parts of no suspect lot."""
    pieces = read_lot_pieces(histories)
    keys = set(zip(table["component"], table["part_no"], table["lot"], strict=True))
    own = zip(pieces["component"], pieces["part_no"].fillna(""), pieces["lot"], strict=True)
    others = pieces.loc[[key not in keys for key in own]]
    summed = others.groupby(["component", "band"])[["failed", "weight"]].sum()
    years = others.groupby(["component", "band"])["weight"].sum()
    by_age = summed["failed"] / years.where(years > 0)
    rates = dict(
        zip(zip(by_age.index.get_level_values(0), by_age.index.get_level_values(1), strict=True), by_age, strict=True)
    )
    return np.array(
        [_over_a_year(rates, str(c), float(a)) for c, a in zip(table["component"], table["age_years"], strict=True)],
        dtype=np.float64,
    )


def _over_a_year(rates: dict[tuple[str, int], float], component: str, age_years: float) -> float:
    start, total = age_years * DAYS_PER_YEAR, 0.0
    for band, (low, high) in enumerate(pairwise(AGE_DAYS)):
        days = min(start + DAYS_PER_YEAR, high) - max(start, low)
        if days > 0:
            total += rates.get((component, band), np.nan) * days / DAYS_PER_YEAR
    return total


def _ratios(table: pd.DataFrame, named: pd.DataFrame) -> FloatArray:
    ratio = (named["failed"].astype(float) + 1.0) / (named["expected"].astype(float) + 1.0)
    keys = ["component", "part_no", "lot"]
    return table[keys].merge(named[keys].assign(ratio=ratio), how="left", on=keys)["ratio"].to_numpy(dtype=np.float64)


def _first(chance: float, priority: bool) -> str:
    if chance >= HIGH_CHANCE:
        return "change it before the next hot spell" if priority else "change it at the next visit"
    return "measure it before summer" if priority else "measure it on the spring round"


def _day(value: Any) -> dt.date | None:  # noqa: ANN401 (a date, a timestamp or nothing)
    return None if pd.isna(value) else pd.Timestamp(value).date()


def _claim_note(until: dt.date | None, money: float) -> str:
    said: list[str] = []
    if until is None:
        said.append("the log doesn't know the unit's warranty: see the maker's paper for the last day")
    if pd.isna(money):
        said.append("no unit cost recorded")
    return "; ".join(said)


def _carried_notes(table: pd.DataFrame, named: pd.DataFrame) -> list[str]:
    if named.empty:
        return ["No lot is named as failing more than the others, so no part is suspect by its lot."]
    gone = [
        f"{row.part_no} lot {row.lot}" for row in named.itertuples(index=False)
        if not ((table["part_no"] == row.part_no) & (table["lot"] == row.lot)).any()
    ]  # fmt: skip
    notes = [
        f"{len(table)} parts of {len(named)} suspect {_lots(len(named))} are in service; about "
        f"{table['chance'].sum():.1f} of them will fail within a year, {table['usual_chance'].sum():.1f} would if they "
        "were like the other lots. One named lot in ten is named by chance: look at the failed parts before a recall."
    ]
    if gone:
        notes.append(f"Of {', '.join(gone)} no part is left in service.")
    return notes + _cautions(named["component"].unique())


def _lots(n: int) -> str:
    return "lot" if n == 1 else "lots"


def _claim_notes(table: pd.DataFrame) -> list[str]:
    if table.empty:
        return ["No failed part without a credit is marked as the maker's to pay or fell into a unit's parts warranty."]
    open_rows = table.loc[table["in_time"] == "yes"]
    money = float(open_rows["money"].astype(float).sum())
    return [
        f"{len(open_rows)} of {len(table)} can still be claimed by the day the log knows, for {money:,.2f} as "
        "recorded. What a claim needs (the old part, its lot, a form, days after the repair) the maker's paper says; "
        "the log is evidence, not the claim."
    ]


def _cautions(components: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(caution.text for name in components for caution in cautions_for(name)))
