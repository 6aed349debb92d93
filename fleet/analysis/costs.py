"""Where did the money go? Recorded costs by month, building and cause, to the cent.

Money is summed as exact decimals in SQL (``sql/cost_visit.sql``, ``sql/cost.sql``). Only recorded money stands in
``total``; labor that was written down in minutes without a price is estimated in a column of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

import pandas as pd

from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.store.database import read_sql

MONEY = ("labor", "parts", "refrigerant", "other", "credit", "total", "after_hours", "estimated", "vendor", "rounds")
"""The money columns of `count_costs`, in their order."""

COLUMNS = (
    AnswerColumn(name="month", kind="text", meaning="month of the report, YYYY-MM"),
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="cause", kind="text", meaning="the visits' finding, else not recorded"),
    AnswerColumn(name="labor", kind="money", meaning="recorded labor cost"),
    AnswerColumn(name="parts", kind="money", meaning="quantity × unit cost as recorded, under warranty too"),
    AnswerColumn(name="refrigerant", kind="money", meaning="recorded refrigerant cost"),
    AnswerColumn(name="other", kind="money", meaning="recorded other cost"),
    AnswerColumn(name="credit", kind="money", meaning="money got back, and money recorded below zero"),
    AnswerColumn(name="total", kind="money", meaning="labor + parts + refrigerant + other − credit"),
    AnswerColumn(name="after_hours", kind="money", meaning="that part of total on after-hours visits"),
    AnswerColumn(
        name="estimated", kind="money", meaning="labor minutes without a cost × the log's median; never in total"
    ),
    AnswerColumn(name="vendor", kind="money", meaning="that part of total on visits of outside firms"),
    AnswerColumn(name="rounds", kind="money", meaning="that part of total on preventive maintenance"),
    AnswerColumn(name="visits", kind="count", meaning="visits in this row"),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="note", kind="text", meaning="what isn't recorded, in words"),
)

_METHOD = (
    "Sums of recorded money, exact to the cent; estimated labor = minutes without a cost × the log's own median "
    "cost a minute, after-hours visits apart."
)


def count_costs(histories: Histories) -> Answer:
    """Say what cooling cost by month, building and cause.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day; visits outside every service period count too.

    Returns
    -------
    Answer
        One row a property, month of the report, building and cause (`COLUMNS`). ``total`` reconciles to the log to the
        cent; ``estimated`` is blank where minutes are there but no visit of the log has both minutes and a cost.

    Notes
    -----
    Parts under warranty count at their recorded price; only a recorded credit lowers it. Money recorded below
    zero goes to ``credit``. See `cost_totals` for the sums over all rows.
    """
    histories.database.run_file("fleet.analysis", "cost_visit")
    table = histories.database.frame(read_sql("fleet.analysis", "cost"))
    table["note"] = [_row_note(*counts) for counts in zip(*(table[name] for name in _COUNTED), strict=True)]
    answer = answer_from(
        histories,
        table,
        COLUMNS,
        name="costs",
        method=_METHOD,
        n_used=int(table["visits"].sum()),
        settings={"cause": "finding", "month_of": "reported_at"},
    )
    # money needs no time at risk, and leaves out no visit
    return replace(answer, notes=tuple(_notes(table)), excluded={})


def cost_totals(answer: Answer) -> Mapping[str, Decimal]:
    """Return the grand total of each money column of `count_costs`, exact and rounded to the cent once.

    Blank estimates are left out of their sum.
    """
    sums = {name: sum((Decimal(repr(float(x))) for x in answer.table[name].dropna()), Decimal(0)) for name in MONEY}
    return {name: total.quantize(Decimal("0.01")) for name, total in sums.items()}


_COUNTED = ("n_estimable", "estimated", "n_no_labor", "n_hours_unknown", "n_unpriced")


def _row_note(n_estimable: int, estimated: float, n_no_labor: int, n_hours_unknown: int, n_unpriced: float) -> str:
    said = []
    if n_estimable and pd.isna(estimated):
        said.append(f"labor cost missing on {n_estimable} and no visit of the log gives a price a minute")
    elif n_estimable:
        said.append(f"labor cost missing on {n_estimable}, estimated")
    if n_no_labor:
        said.append(f"neither labor cost nor minutes on {n_no_labor}")
    if n_unpriced:
        said.append(f"{int(n_unpriced)} part lines without a price")
    if n_hours_unknown:
        said.append(f"time of day unknown on {n_hours_unknown}")
    return "; ".join(said)


def _notes(table: pd.DataFrame) -> list[str]:
    counts = table[["visits", "n_estimable", "n_no_labor", "n_hours_unknown", "n_unpriced", "n_out_of_service"]].sum()
    notes = []
    if counts["n_estimable"] or counts["n_no_labor"] or counts["n_unpriced"]:
        notes.append(
            f"Of {int(counts['visits'])} visits, {int(counts['n_estimable'])} have labor minutes but no labor cost "
            f"(estimated apart) and {int(counts['n_no_labor'])} have neither; {int(counts['n_unpriced'])} part lines "
            "have no price. The total holds recorded money only, so it reads low by what wasn't written down."
        )
    if counts["n_hours_unknown"]:
        notes.append(
            f"Whether {int(counts['n_hours_unknown'])} visits fell after hours is unknown; "
            "after-hours money leaves them out."
        )
    if counts["n_out_of_service"]:
        notes.append(
            f"{int(counts['n_out_of_service'])} visits fall outside every service period of their tag; "
            "they count in costs and in nothing else."
        )
    return notes
