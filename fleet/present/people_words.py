"""How is it said how long homes wait for cooling, which parts they wait for, and where refrigerant goes?

No number is estimated here; every one is read off an answer, or is a sum of its rows.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from fleet.answer import Answer
from fleet.present.numbers import about, counted, finite, listed, percent
from fleet.present.unanswered import with_first_note
from fleet.trade.refrigerant import OUNCES_PER_POUND


def waits_sentence(answer: Answer) -> str:
    """Say within how many hours half of the calls had cooling back, priority homes beside all."""
    table = answer.table
    whole, first = table[table["homes"] == "all"], table[table["homes"] == "priority"]
    by = list(answer.settings.get("by") or ())
    if by:
        worst = whole.sort_values("hours", ascending=False, kind="stable").iloc[0]
        group = " ".join(str(worst[name]) for name in by)
        return (
            f"Homes went {about(whole['hours'].sum(), unit='hours')} without cooling; most in {group}, "
            f"{about(worst['hours'], unit='hours')}."
        )
    row = whole.iloc[0]
    if finite(row["median_hours"]) is None:
        return with_first_note(answer)
    said = f"Half of {counted(row['calls'], 'call')} had cooling back within {_hours(row)}"
    if len(first) and finite(first.iloc[0]["median_hours"]) is not None:
        said += f"; in priority homes within {_hours(first.iloc[0])}"
    if finite(row["hours"]):
        said += f"; {percent(row['part_hours'] / row['hours'])} of all hours went on waiting for a part"
    return f"{said}."


def part_waits_sentence(answer: Answer) -> str:
    """Say how many calls waited for a part, for how long, and for which part most hours went."""
    whole = answer.table.iloc[0]
    if len(answer.table) < 2:
        return answer.notes[0] if answer.notes else "No call for cooling was left waiting for a part."
    most = answer.table.iloc[1]
    half = ""
    if finite(whole["median_hours"]) is not None:
        bounds = (whole["median_hours"], whole["median_low"], whole["median_high"])
        half = f", half of them over {about(*bounds, unit='hours')}"
    return (
        f"{counted(whole['waited'], 'call')} of {whole['calls']:,} waited for a part{half}; most hours went on the "
        f"{most['component']} ({percent(most['share_of_hours'])} of all hours without cooling)."
    )


def home_waits_sentence(answer: Answer) -> str:
    """Say how many homes went without cooling, which wait now, and which priority home waited longest."""
    table = answer.table
    first = table[table["priority_home"] == "yes"]
    now = int((table["waiting_now"] == "yes").sum())
    top = (first if len(first) else table).sort_values("hours", ascending=False, kind="stable").iloc[0]
    who = "priority home" if len(first) else "home"
    waiting = f"{counted(now, 'home waits', 'homes wait')} for a part now; " if now else ""
    of_them = f", {counted(len(first), 'of them a priority home', 'of them priority homes')}" if len(first) else ""
    return (
        f"{waiting}{counted(len(table), 'home')} went without cooling{of_them}; longest without it was the {who} "
        f"at {top['equipment_id']}, {about(top['hours'], unit='hours')} in {counted(top['calls'], 'call')}."
    )


def refrigerant_sentence(answer: Answer) -> str:
    """Say how many units took refrigerant for leaks and which again and again; an indicator, not compliance."""
    table = answer.table
    if not table["top_ups"].sum():
        return with_first_note(answer)
    named = [str(tag) for tag in table.loc[table["alert"] == "yes", "equipment_id"]]
    times = counted(int(answer.settings.get("repeated", 3)), "time")
    often = f"none of them {times} without a repair"
    if named:
        verb = "was" if len(named) == 1 else "were"
        often = f"{listed(named, limit=4)} {verb} topped up {times} or more with no part of the circuit fitted"
    pounds = about(table["top_up_oz"].sum() / OUNCES_PER_POUND, unit="pounds")
    return (
        f"{int((table['top_ups'] > 0).sum())} of {counted(len(table), 'unit')} took {pounds} of refrigerant for leaks; "
        f"{often}; the percentages are an indicator, not a compliance result."
    )


def refrigerant_order_sentence(answer: Answer) -> str:
    """Say how many pounds of each refrigerant the next 12 months will likely take."""
    rows = answer.table[answer.table["mean_lb"].notna()]
    used = [row for row in rows.to_dict("records") if row["additions"]]
    if not used:
        return with_first_note(answer)
    said = [f"{about(row['mean_lb'], row['low'], row['high'], unit='pounds')}, of {row['refrigerant']}" for row in used]
    return f"The next 12 months will likely take {listed(said, limit=4)}."


def _hours(row: pd.Series[Any]) -> str:
    return about(row["median_hours"], row["low"], row["high"], unit="hours")
