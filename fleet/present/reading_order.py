"""In what order does a person read an answer's rows, what may be passed over, and what is better told in words?"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from fleet.answer import Answer
from fleet.present.failing_words import LIKELY
from fleet.present.life_groups import readable
from fleet.present.life_words import least_ages
from fleet.present.numbers import counted


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingOrder:
    """An answer's rows as a person reads them, what was passed over, and the columns told in words instead."""

    table: pd.DataFrame
    remark: str = ""
    told: tuple[str, ...] = ()


def reading_order(answer: Answer) -> ReadingOrder:
    """Return an answer's rows with those to act on first; of an order only the lines with something to order."""
    table = answer.table
    if answer.name == "stock":
        lines = table[table["to_order"] > 0]
        idle = len(table) - len(lines)
        remark = _passed_over(idle, "line", "with nothing to order")
        return ReadingOrder(table=lines, remark=remark)
    if answer.name == "drift":
        return ReadingOrder(table=table.sort_values(["advice", "pct"], key=_urgent_first, kind="stable"))
    if answer.name == "life":
        return _life_order(answer)
    if answer.name == "life curve":
        return _curve_order(answer)
    if answer.name in _ORDERS:
        return _ORDERS[answer.name](answer)
    if answer.name == "demand":
        return ReadingOrder(table=table.sort_values("building", key=lambda names: names != "", kind="stable"))
    return ReadingOrder(table=table)


def _life_order(answer: Answer) -> ReadingOrder:
    """Show every law of one group; of several groups the average alone. Bounds without an estimate go to the note."""
    table = answer.table
    averages = table[table["model"] == "average"]
    one = len(averages) < 2 or len(averages) == len(table)
    shown, laws = (table, 0) if one else (averages, len(table) - len(averages))
    notes = ["; ".join(filter(None, (least_ages(row), str(row["note"])))) for _, row in shown.iterrows()]
    remark = _passed_over(laws, "row", "of single laws")
    return ReadingOrder(table=shown.assign(note=notes), remark=remark)


def _curve_order(answer: Answer) -> ReadingOrder:
    """Show a curve at its beginning and where each half-year ends: it has a row for every age of failure."""
    by = list(answer.settings.get("by") or ())
    table = readable(answer.table)
    last = ~table.assign(half_year=np.ceil(2 * table["age"])).duplicated([*by, "half_year"], keep="last")
    between = len(answer.table) - int(last.sum())
    which = "of failure between these or past them, where fewer than ten were watched,"
    return ReadingOrder(table=table[last], remark=_passed_over(between, "age", which))


def _all_first(answer: Answer) -> ReadingOrder:
    """Show all components together before each of them."""
    return ReadingOrder(table=answer.table.sort_values("component", key=lambda names: names != "", kind="stable"))


def _rates_order(answer: Answer) -> ReadingOrder:
    """Show all together first; the smallest ratio the data would show has a column, so no note repeats it.

    Where nothing was pooled there is no rate that leans on others to show beside a group's own.
    """
    rows = _all_first(answer).table
    told = ("shrunk_rate",) if "p_high" in rows.columns and rows["p_high"].isna().all() else ()
    if "smallest_ratio_seen" in rows.columns and answer.settings.get("by"):
        rows = rows.assign(note=[_WOULD_SHOW.sub("", str(note)) for note in rows["note"]])
    return ReadingOrder(table=rows, told=told)


def _recurrence_order(answer: Answer) -> ReadingOrder:
    """Show a long curve where each half-year ends, and where it breaks."""
    table = answer.table
    told = ("segment",) if table["segment"].nunique() < 2 else ()
    if len(table) <= _SHORT:
        return ReadingOrder(table=table, told=told)
    half = np.ceil(2 * table["years"])
    last = ~table.assign(half_year=half).duplicated(["segment", "half_year"], keep="last")
    rows = table[last]
    # each row shown also counts the failures of the rows passed over before it
    behind = last.shift(fill_value=False).cumsum()
    failures = table["failures"].groupby(behind).sum().to_numpy()
    remark = "The curve at the end of each half-year. " + _passed_over(len(table) - len(rows), "point", "between")
    return ReadingOrder(table=rows.assign(failures=failures), remark=remark, told=told)


def _units_order(answer: Answer) -> ReadingOrder:
    """Tell what each likely bad unit has had below the table, for want of room in it."""
    table = answer.table
    notes = [
        str(evidence) if p > LIKELY else str(note)
        for evidence, p, note in zip(table["evidence"], table["p_bad"], table["note"], strict=True)
    ]
    return ReadingOrder(table=table.assign(note=notes), told=("evidence",))


def _causes_order(answer: Answer) -> ReadingOrder:
    """Tell each hint's evidence and basis below the table, where the order to look stands in it."""
    table = answer.table
    notes = [f"{said} Basis: {basis}." for said, basis in zip(table["evidence"], table["basis"], strict=True)]
    return ReadingOrder(table=table.assign(note=notes), told=("evidence", "basis"))


_SHORT = 24
"""A curve of at most so many points is shown whole."""

_WOULD_SHOW = re.compile(r"; this (much|little) data would [^;]*")

_ORDERS: Mapping[str, Callable[[Answer], ReadingOrder]] = MappingProxyType(
    {
        "rates": _rates_order,
        "trends": _all_first,
        "recurrence": _recurrence_order,
        "units": _units_order,
        "causes": _causes_order,
    }
)


def _passed_over(n: int, one: str, which: str) -> str:
    verb = "isn't" if n == 1 else "aren't"
    return f"{counted(n, one)} {which} {verb} shown (CSV and JSON have all)." if n else ""


def _urgent_first(values: pd.Series[Any]) -> pd.Series[Any]:
    order = {"change": 0, "measure again": 1, "no reading": 2, "leave": 3}
    return values.map(order) if values.name == "advice" else values
