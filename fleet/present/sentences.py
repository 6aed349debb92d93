"""Which one sentence answers this question? The opening of every page and command, made from the answer's own table.

No number is estimated here: sums of rows that add up are formed, everything else is read off.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from types import MappingProxyType

import pandas as pd

from fleet.answer import Answer
from fleet.present.coming_back_words import (
    callbacks_sentence,
    chains_sentence,
    claims_sentence,
    clusters_sentence,
    lots_sentence,
    months_sentence,
    new_parts_sentence,
    power_sentence,
    runs_sentence,
    suspects_sentence,
    watch_sentence,
)
from fleet.present.failing_words import (
    causes_sentence,
    readings_sentence,
    recurrence_sentence,
    trends_sentence,
    units_sentence,
    visits_sentence,
)
from fleet.present.life_comparison import comparison_sentence
from fleet.present.life_words import curve_sentence, ends_sentence, life_sentence
from fleet.present.numbers import about, as_date, counted, day, estimate, finite, money, month, percent, places
from fleet.present.people_words import (
    home_waits_sentence,
    part_waits_sentence,
    refrigerant_order_sentence,
    refrigerant_sentence,
    waits_sentence,
)
from fleet.present.unanswered import NOT_ENOUGH, not_enough, with_first_note

__all__ = [
    "NOT_ENOUGH", "building_sentence", "load_sentence", "not_enough", "opening", "order_sentence", "service_sentence",
]  # fmt: skip

_SPEAK_WHEN_EMPTY = (
    "life", "causes", "unit visits", "unit readings", "watch", "suspect parts", "claims", "call-back runs",
)  # fmt: skip


def opening(answer: Answer) -> str:
    """Return the one sentence that answers an answer's question and carries its numbers.

    An empty table, or one in which nothing could be estimated, gives a sentence that says so with its first note.
    """
    say = _OPENINGS.get(answer.name)
    if answer.table.empty and answer.name not in _SPEAK_WHEN_EMPTY:
        return with_first_note(answer)
    return say(answer) if say else f"{counted(len(answer.table), 'row')} as of {day(answer.as_of)}."


def order_sentence(table: pd.DataFrame, as_of: dt.date) -> str:
    """Say what to order, for how much and by when, from the lines of a stock plan.

    Parameters
    ----------
    table : DataFrame
        Columns location, component, to_order, cost, order_by and, where there are several, property.
    """
    lines = table[table["to_order"] > 0]
    if lines.empty:
        return "Nothing needs ordering: what stands on the shelves and is on its way covers the plan."
    in_pounds = lines["component"] == "refrigerant"
    pieces, pounds = lines.loc[~in_pounds, "to_order"].sum(), lines.loc[in_pounds, "to_order"].sum()
    cost = lines["cost"].sum()
    unpriced = int(lines["cost"].isna().sum())
    by = [date for date in map(as_date, lines["order_by"]) if date is not None]
    late = int((lines["order_by"].astype(str) == "late").sum())
    gas = f" and {counted(pounds, 'pound')} of refrigerant" if pounds else ""
    said = f"Order {counted(pieces, 'part')}{gas}"
    said += f" for {money(cost)}" if unpriced < len(lines) else " (no price is known)"
    said += f" by {day(min(by), beside=as_of)}" if by else ""
    n_shelves = len(lines[[c for c in ("property", "location") if c in lines.columns]].drop_duplicates())
    said += f", for {counted(n_shelves, 'shelf', 'shelves')}"
    if late:
        verb = "is" if late == 1 else "are"
        said += f"; {counted(late, 'line')} {verb} late already, so order those today and ask how long they take"
    if 0 < unpriced < len(lines):
        verb = "isn't" if unpriced == 1 else "aren't"
        said += f"; {counted(unpriced, 'line')} without a price {verb} counted in it"
    return said + "."


def service_sentence(service: float, season_cost: float) -> str:
    """Say how well a stock plan serves the whole fleet and what shortages and leftovers are expected to cost."""
    return (
        f"With it about {percent(service)} of the season's part needs are met from the shelf, over all properties; "
        f"pieces left over and pieces short are expected to cost {money(season_cost)} together."
    )


def building_sentence(needs: pd.DataFrame) -> str:
    """Say which building will likely need most, from needs by building (property, building, mean, q05, q95)."""
    if needs.empty or not needs["mean"].sum() > 0:
        return not_enough("No need of any part is foreseen.")
    ranked = needs.sort_values("mean", ascending=False, kind="stable")
    top = ranked.iloc[0]
    half = int((ranked["mean"].cumsum() < ranked["mean"].sum() / 2).sum()) + 1
    name = places([(str(top["property"]), str(top["building"]))])
    said = f"{name} will likely need most: {about(top['mean'], top['q05'], top['q95'], unit='parts')}"
    return f"{said}; half of all needs fall in {counted(half, 'building')} of {len(ranked)}."


def load_sentence(records: int, refused: int, duplicate: int, blank: int) -> str:
    """Say what became of every record of a load."""
    verb = "was" if records == 1 else "were"
    return (
        f"{counted(records, 'record')} {verb} read: {refused:,} refused, {duplicate:,} repeated or replaced by a later "
        f"version, {blank:,} empty lines, headings or totals, the rest clean."
    )


def _rates(answer: Answer) -> str:
    table, groups = answer.table, tuple(answer.settings.get("by") or ())
    every = table[table["component"] == ""] if (table["component"] == "").any() else table
    what = str(answer.settings.get("component") or "")
    if groups:
        return _rates_by(every, groups, what)
    whole = every.iloc[0]
    if finite(whole["rate"]) is None:
        return not_enough(str(whole["note"]))
    said = about(whole["rate"], whole["low"], whole["high"], unit="times a year")
    noun = f"A unit's {what} fails" if what else "A unit fails"
    parts = table[table["component"] != ""].sort_values("failures", ascending=False)
    if what or parts.empty:
        return f"{noun} {said}."
    most = parts.iloc[0]
    return f"{noun} {said}; most often the {most['component']}, {most['failures']:,} of {whole['failures']:,} failures."


def _rates_by(every: pd.DataFrame, groups: tuple[str, ...], what: str) -> str:
    known = every[every["rate"].notna()]
    # a group that is nobody's name can't be acted on: it leads only where there is no other
    named = known[~(known[list(groups)] == "unknown").any(axis=1)]
    known = known if named.empty else named
    if known.empty:
        return not_enough()
    column = "shrunk_rate" if known["shrunk_rate"].notna().all() else "rate"
    worst = known.sort_values(column, ascending=False).iloc[0]
    group = " ".join(str(worst[name]) for name in groups)
    fails = f"has its {what} fail most often" if what else "fails most"
    kind = " and ".join(name.replace("_", " ") for name in groups)
    said = f"Of {counted(len(known), 'group')} by {kind}, {group} {fails}: {_rate(worst)} a unit-year"
    low = finite(worst["ratio_low"])
    if low is None or low > 1:
        return f"{said}."
    least = finite(worst.get("smallest_ratio_seen"))
    seen = "" if least is None else f" (only {estimate(least)} times the rate of the others was likely to show)"
    return f"{said}; chance could explain that{seen}."


def _rate(row: pd.Series) -> str:
    return about(row["rate"], row["low"], row["high"])


def _drift(answer: Answer) -> str:
    advice = answer.table["advice"].value_counts()
    change, again, unread = (int(advice.get(word, 0)) for word in ("change", "measure again", "no reading"))
    total = len(answer.table)
    first = f"Change {counted(change, 'capacitor section')} and measure {again:,} again"
    if change + again == 0:
        first = "No capacitor section needs a change or another reading now"
    return f"{first}, of {total:,} in service; {unread:,} have no reading of their own."


def _meters(answer: Answer) -> str:
    table = answer.table[answer.table["bias_pct"].notna()]
    if table.empty:
        return with_first_note(answer)
    off = table[(table["low"] > 0) | (table["high"] < 0)]
    if off.empty:
        if len(table) == 1:
            return "There is one meter, so nothing tells whether it reads high or low."
        return f"None of {counted(len(table), 'meter')} can be told apart from the rest."
    worst = off.sort_values("bias_pct", key=abs, ascending=False).iloc[0]
    side = "high" if worst["bias_pct"] > 0 else "low"
    bounds = sorted((abs(float(worst["low"])), abs(float(worst["high"]))))
    size = about(abs(float(worst["bias_pct"])), *bounds, unit="%")
    return f"Of {counted(len(table), 'meter')}, {worst['meter']} is furthest off: it reads {side} by {size}."


def _demand(answer: Answer) -> str:
    table = answer.table
    rows = table[(table["building"] == "") & (table["why"] == "") & (table["component"] != "refrigerant")]
    total = rows[rows["part_no"] == ""]
    if not total.empty and finite(total.iloc[0]["mean"]) is not None:
        row = total.iloc[0]
        need = f"{about(row['mean'], row['q05'], row['q95'])} parts" if len(total) == 1 else about(total["mean"].sum())
        return f"The season will likely take {need}."
    parts = rows[rows["part_no"] != ""].sort_values("mean", ascending=False)
    if parts.empty:
        return with_first_note(answer)
    top = parts.iloc[0]
    return (
        f"The season will likely take {about(parts['mean'].sum(), unit='parts')} of "
        f"{counted(parts['part_no'].nunique(), 'kind')}; most of one kind is {top['part_no']} "
        f"({about(top['mean'], top['q05'], top['q95'])})."
    )


def _stock(answer: Answer) -> str:
    return order_sentence(answer.table, answer.as_of)


def _costs(answer: Answer) -> str:
    table = answer.table
    total, nights = table["total"].sum(), table["after_hours"].sum()
    by_cause = table.groupby("cause")["total"].sum().sort_values(ascending=False)
    share = percent(nights / total) if total > 0 else percent(0)
    span = sorted(str(month) for month in table["month"])
    said = f"Cooling cost {money(total)} from {month(span[0])} to {month(span[-1])}, {share} of it after hours"
    named = by_cause.drop(labels="not recorded", errors="ignore")
    if named.empty:
        return f"{said}; no visit names a cause."
    return f"{said}; the largest cause named is {named.index[0]} with {money(named.iloc[0])}."


def _seasons(answer: Answer) -> str:
    table = answer.table
    rows = table[table["property"] == ""] if (table["property"] == "").any() else table
    calls = rows.groupby(rows["month"].str[5:])["calls"].sum()
    if not calls.sum() > 0:
        return not_enough("No call has come in.")
    hottest = dt.date(2000, int(str(calls.idxmax())), 1)
    heat = answer.notes[0] if answer.notes else ""
    return f"Most calls come in {hottest:%B}: {calls.max():,} of {calls.sum():,}. {heat}".strip()


_OPENINGS: Mapping[str, Callable[[Answer], str]] = MappingProxyType(
    {
        "rates": _rates,
        "life": life_sentence,
        "life curve": curve_sentence,
        "life ends": ends_sentence,
        "life comparison": comparison_sentence,
        "drift": _drift,
        "meters": _meters,
        "callbacks": callbacks_sentence,
        "call-back runs": runs_sentence,
        "cause chains": chains_sentence,
        "units": units_sentence,
        "recurrence": recurrence_sentence,
        "trends": trends_sentence,
        "causes": causes_sentence,
        "unit visits": visits_sentence,
        "unit readings": readings_sentence,
        "clusters": clusters_sentence,
        "watch": watch_sentence,
        "scan power": power_sentence,
        "months": months_sentence,
        "lots": lots_sentence,
        "suspect parts": suspects_sentence,
        "claims": claims_sentence,
        "new parts": new_parts_sentence,
        "refrigerant": refrigerant_sentence,
        "refrigerant order": refrigerant_order_sentence,
        "waits": waits_sentence,
        "part waits": part_waits_sentence,
        "home waits": home_waits_sentence,
        "demand": _demand,
        "stock": _stock,
        "costs": _costs,
        "seasons": _seasons,
    }
)
