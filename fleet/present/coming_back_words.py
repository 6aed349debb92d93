"""How is it said what comes back, what follows what, what fails together, and which lots of parts are suspect?

No number is estimated here; every one is read off an answer, or is a sum of its rows.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from fleet.analysis.scan_power import MOSTLY
from fleet.answer import Answer
from fleet.present.numbers import (
    about,
    as_date,
    counted,
    day,
    estimate,
    finite,
    listed,
    money,
    month,
    percent,
    places,
)
from fleet.present.unanswered import with_first_note
from fleet.trade.cautions import Caution, cautions_for


def callbacks_sentence(answer: Answer) -> str:
    """Say how many calls came back, how many would by chance, and whether anyone's work stands out from like work."""
    row = answer.table[answer.table["by"] == "all"]
    if row.empty or finite(row.iloc[0]["share"]) is None:
        return with_first_note(answer)
    whole = row.iloc[0]
    more = _out_of_line(_alerts(answer.table)) if "alert" in answer.table else ""
    return (
        f"Of {counted(whole['calls'], 'call')}, {whole['returned']:,.0f} came back, where {about(whole['expected'])} "
        f"would by chance; the share beyond chance is {_share(whole)}{more}."
    )


def standing_out(callbacks: Answer, by: str) -> str:
    """Say whether any finding, technician or firm has more call-backs than like work brings; never who is best.

    Parameters
    ----------
    by : str
        finding, technician or vendor.
    """
    table = callbacks.table[callbacks.table["by"] == by]
    kinds = {"finding": "finding", "technician": "technician", "vendor": "outside firm"}
    if table["usual_share"].isna().all():
        return f"There is nothing to compare by {kinds[by]}: the log names {counted(len(table), kinds[by])}."
    named = [f"{row['value']} ({_share(row)}, where {_usual(row)})" for _, row in _alerts(table).iterrows()]
    few = "" if len(table) > 1 else " but one"
    if not named:
        return f"No {kinds[by]}{few} has more call-backs than work on the same findings brings to the others."
    return f"More call-backs than like work brings: {listed(named).rstrip('.')}."


def runs_sentence(answer: Answer) -> str:
    """Say how many runs of call-backs there were, and what the longest was."""
    table = answer.table
    if table.empty:
        return "No call came back soon after another in this log."
    runs = table.drop_duplicates("run")
    first = runs.iloc[0]
    visits = table[table["run"] == first["run"]]
    span = int(visits["days"].max())
    cost = "" if not finite(first["run_cost"]) else f", for {money(first['run_cost'])}"
    came = int((runs["calls"] - 1).sum())
    were = "was a call-back" if came == 1 else "were call-backs"
    one = f"{first['equipment_id']}'s: {counted(first['calls'], 'call')} in {counted(span, 'day')}{cost}"
    return (
        f"{counted(came, 'call')} {were}, in {counted(len(runs), 'run')}; the longest is {one}, from "
        f"{day(first['first_on'])}."
    )


def chains_sentence(answer: Answer) -> str:
    """Say which failure follows which more often than chance allows, and what both cost together."""
    table, days = answer.table, answer.settings.get("window_days", "")
    named = _alerts(table)
    if named.empty:
        near = table[table["p_value"].notna()]
        said = f"None of {counted(len(table), 'pair')} of failures follow each other within {days} days beyond chance"
        if near.empty:
            return f"{said}."
        row = near.iloc[0]
        return f"{said}; nearest to it, {_followed(row)}."
    row = named.iloc[0]
    cost = ""
    if finite(row["chain_cost"]) is not None and finite(row["single_cost"]) is not None:
        cost = (
            f"; both together cost {money(row['chain_cost'])} on average, the first alone {money(row['single_cost'])}"
        )
    more = f" {counted(len(named) - 1, 'more pair')} named below." if len(named) > 1 else ""
    return f"What follows what beyond chance: {_followed(row)}{cost}.{more}"


def clusters_sentence(answer: Answer) -> str:
    """Say where and when a component failed in a heap, and how many were to be expected."""
    named = answer.table[answer.table["alert"] == "yes"]
    if named.empty:
        return "No building had more failures close together than chance and the heat explain."
    row = named.sort_values("p_value").iloc[0]
    start, end = as_date(row["from_date"]), as_date(row["to_date"])
    span = f"{day(start, beside=end)} to {day(end)}"
    more = f" {counted(len(named) - 1, 'more cluster')} named below." if len(named) > 1 else ""
    what = f"the {row['component']}" if row["component"] else "something"
    return (
        f"In {_where(row)} {what} failed {counted(row['observed'], 'time')} from {span}, where "
        f"{about(row['expected'])} was to be expected.{more}"
    )


def watch_sentence(answer: Answer) -> str:
    """Say whether something is failing in a heap now, and how often chance alone would bring such a heap."""
    named = _alerts(answer.table)
    if not named.empty:
        row = named.iloc[0]
        often = finite(row["years_between"])
        chance = "" if often is None else f"; chance alone brings such a heap once in {about(often, unit='years')}"
        more = f" {counted(len(named) - 1, 'more heap')} named below." if len(named) > 1 else ""
        return (
            f"The {row['component']} is failing in a heap now in {_where(row)}: "
            f"{counted(row['observed'], 'time')} since {day(row['from_date'])}, where {about(row['expected'])} was to "
            f"be expected{chance}.{more}"
        )
    short = answer.notes[0] if answer.notes and answer.notes[0].startswith("Not enough data") else ""
    if short:
        return short
    reach = answer.settings.get("max_weeks", "")
    return (
        f"Nothing is failing in a heap now that chance doesn't explain, in the up to {reach} weeks before "
        f"{day(answer.as_of)}; no alert is no all-clear."
    )


def power_sentence(answer: Answer) -> str:
    """Say what heaps the scan could see at all, so that silence is read for what it is."""
    table = answer.table[answer.table["chance_found"].notna()]
    if table.empty:
        return with_first_note(answer)
    ratio, weeks = answer.settings.get("ratio", 3.0), answer.settings.get("weeks", "")
    seen = int((table["chance_found"] >= MOSTLY).sum())
    row = table.sort_values("chance_found", ascending=False, kind="stable").iloc[0]
    where = f"of {counted(len(table), 'pair')} of building and component"
    said = f"{estimate(ratio)} times the usual for {weeks} weeks would mostly be found in {seen or 'none'} {where}"
    least = finite(row["smallest_ratio"])
    best = "" if least is None else f", where it takes {about(least)} times the usual to be found four times in five"
    return f"{said}; a heap shows soonest for the {row['component']} in {_where(row)}{best}."


def months_sentence(answer: Answer) -> str:
    """Say which building had a month that season, age and chance don't explain."""
    table = answer.table
    named = _alerts(table)
    rows = named if len(named) else table[table["p_value"].notna()]
    if rows.empty:
        return with_first_note(answer)
    row = rows.sort_values("p_value", kind="stable").iloc[0]
    said = (
        f"{_where(row)} in {month(str(row['month']))}, with {counted(row['observed'], 'failure')} where "
        f"{about(row['expected'])} was to be expected"
    )
    if named.empty:
        none = f"None of {counted(len(table), 'building-month')} had more failures than season, age and chance explain"
        return f"{none}; furthest from it, {said}."
    more = f" {counted(len(named) - 1, 'more')} named below." if len(named) > 1 else ""
    return f"More failures than season, age and chance explain: {said}.{more}"


def lots_sentence(answer: Answer) -> str:
    """Say which lot likely is bad, with what failed of it and what was to be expected."""
    named = answer.table[answer.table["alert"] == "yes"]
    if named.empty:
        if len(answer.table) == 1:
            return "The one lot fails no more than chance explains."
        return f"None of {counted(len(answer.table), 'lot')} fails more than chance explains."
    row = named.sort_values("p_value").iloc[0]
    more = f" {counted(len(named) - 1, 'more lot')} named below." if len(named) > 1 else ""
    return (
        f"Lot {row['lot']} of {row['part_no']} likely is bad: {row['failed']:.0f} of {row['fitted']:.0f} fitted "
        f"failed, where {about(row['expected'])} was to be expected.{more}"
    )


def suspects_sentence(answer: Answer) -> str:
    """Say how many parts of suspect lots are still in service, how many will fail, and where to go first."""
    table = answer.table
    if table.empty:
        reason = answer.notes[0] if answer.notes and answer.notes[0].startswith("No lot") else ""
        return f"No part of a suspect lot is in service. {reason}".strip()
    row = table.iloc[0]
    homes = int((table["priority_home"] == "yes").sum())
    first = f", {homes} of them in priority homes" if homes else ""
    verb = "is" if len(table) == 1 else "are"
    lots = list(dict.fromkeys(f"{part} lot {lot}" for part, lot in zip(table["part_no"], table["lot"], strict=True)))
    said = f"{counted(len(table), 'part')} of {listed(lots, limit=3)} {verb} in service{first}"
    fail, usual = finite(table["chance"].sum()), finite(table["usual_chance"].sum())
    if fail:
        said += f"; {about(fail)} will likely fail within a year, {about(usual)} would were the lot like others"
    return f"{said}. First, at {row['equipment_id']}: {row['first']}."


def suspect_cautions(answer: Answer) -> tuple[Caution, ...]:
    """Return the cautions that go with changing the parts listed, each once."""
    return tuple(dict.fromkeys(caution for name in answer.table["component"] for caution in cautions_for(str(name))))


def claims_sentence(answer: Answer) -> str:
    """Say how many failed parts may still be claimed from the maker, for how much, and by when first."""
    table = answer.table
    if table.empty:
        return answer.notes[0] if answer.notes else "No failed part may be claimed from the maker."
    still = table[table["in_time"] == "yes"]
    unknown = int((table["in_time"] == "").sum())
    unsure = f"; of {unknown} the last day isn't known" if unknown else ""
    if still.empty:
        return f"None of {counted(len(table), 'failed part')} without a credit can still be claimed in time{unsure}."
    days = [found for found in map(as_date, still["claim_by"]) if found is not None]
    by = f", the first by {day(min(days))}" if days else ""
    return (
        f"{len(still)} of {counted(len(table), 'failed part')} without a credit may still be claimed, "
        f"{money(still['money'].astype(float).sum())} as recorded{by}{unsure}."
    )


def new_parts_sentence(answer: Answer) -> str:
    """Say what share of the new parts tested was bad, and how many would be had each meter read true."""
    whole = answer.table.iloc[0]
    named, true = len(_alerts(answer.table)), int(whole["bad_true_meter"])
    more = f" {counted(named, 'part number or lot', 'part numbers or lots')} named below." if named else ""
    bad = "none was bad" if not whole["bad"] else f"{whole['bad']:,.0f} {'was' if whole['bad'] == 1 else 'were'} bad"
    said = f"Of {counted(whole['tested'], 'new part')} tested before fitting, {bad} ({_share(whole)})"
    meters = f"; had each meter read true, {true if true else 'none'} would be" if true != whole["bad"] else ""
    return f"{said}{meters}.{more}"


def _out_of_line(named: pd.DataFrame) -> str:
    """Say which findings come back more than like work; people are counted here and named only beside their funnel."""
    findings = [str(value) for value in named.loc[named["by"] == "finding", "value"]]
    who = [
        counted(int((named["by"] == by).sum()), one)
        for by, one in (("technician", "technician"), ("vendor", "outside firm"))
        if (named["by"] == by).any()
    ]
    said = [f"after {listed(findings)}"] if findings else []
    said += [f"for {listed(who)}"] if who else []
    return f"; more than like work brings {' and '.join(said)}" if said else ""


def _alerts(table: pd.DataFrame) -> pd.DataFrame:
    return table[table["alert"] == "yes"]


def _where(row: pd.Series[Any]) -> str:
    return places([(str(row.get("property", "")) or "building", str(row["building"]))])


def _followed(row: pd.Series[Any]) -> str:
    again = " (twice within a year)" if str(row["times"]).startswith("twice") else ""
    return (
        f"{row['then']} after {row['first']}{again}, in {row['followed']:.0f} of {counted(row['cases'], 'case')} where "
        f"{about(row['expected'])} would by chance"
    )


def _share(row: pd.Series[Any]) -> str:
    return about(100 * row["share"], 100 * row["low"], 100 * row["high"], unit="%")


def _usual(row: pd.Series[Any]) -> str:
    return f"{percent(max(row['usual_low'], 0.0))} to {percent(row['usual_high'])} is usual in so many calls"
