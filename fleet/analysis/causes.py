"""What may be behind a unit's repeats that nobody has looked at yet? Hints, each with its evidence from the log.

A hint is a place to look, not a finding. It is given only where the log's repeats pass a stated threshold; most units
get none.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
from scipy import special

from fleet.analysis.cause_rules import LARGEST_CHANCE, LOOK_BACK_YEARS, RULES, CauseRule
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR
from fleet.trade.cautions import cautions_on

COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="equipment_id", kind="text", meaning="the unit's tag"),
    AnswerColumn(name="hint", kind="text", meaning="what may be behind it"),
    AnswerColumn(name="events", kind="count", meaning="how many events speak for it"),
    AnswerColumn(name="usual_events", kind="number", meaning="how many a unit of this fleet has in the same time"),
    AnswerColumn(name="chance", kind="number", meaning="chance of so many or more at the fleet's rate"),
    AnswerColumn(name="first_on", kind="date", meaning="the first of them"),
    AnswerColumn(name="last_on", kind="date", meaning="the last of them"),
    AnswerColumn(name="evidence", kind="text", meaning="what the log says, with dates"),
    AnswerColumn(name="look_at", kind="text", meaning="what to look at"),
    AnswerColumn(name="basis", kind="text", meaning="what the hint rests on"),
    AnswerColumn(
        name="cautions", kind="text", meaning="topics of the cautions that apply; their sentences are in the notes"
    ),
    AnswerColumn(name="note", kind="text", meaning="blank"),
)

_METHOD = (
    "Repeats of one unit over three years against fixed thresholds and against chance at the fleet's rate (Poisson, at "
    "most one in twenty); silent where what a hint points at was worked on since."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _UnitLog:
    """What one unit's log says: days of each kind of event, last work and part by component, the fleet's rates."""

    days: dict[str, list[dt.date]]
    work: dict[str, dt.date]
    fitted: dict[str, dt.date]
    years: float
    fleet_rate: dict[str, float]


def look_for_causes(histories: Histories, equipment_id: str | Sequence[str]) -> Answer:
    """Say what may be behind the repeats of one unit, or of each of several, and was not looked at yet.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    equipment_id : str or sequence of str
        The unit's tag, or several; where several units hung at one the one after the other, the last one.

    Returns
    -------
    Answer
        One row a hint, tags in the order given, the least likely by chance first (`COLUMNS`); no row for a unit where
        nothing passes its threshold, and a note that says so. The notes carry the usual cautions of every hint given.

    Raises
    ------
    AnalysisError
        If no unit has that tag.

    Notes
    -----
    The thresholds are those of `fleet.analysis.cause_rules`: at least two (top-ups: three) events in three years, so
    many by chance at most one time in twenty at the fleet's rate, and nothing the hint points at worked on since the
    first of them. With ten rules and a few hundred units a handful of hints come by chance alone.

    Example
    -------
    ``look_for_causes(histories, "QC01-203").to_frame()[["hint", "evidence"]]``
    """
    tags = [equipment_id] if isinstance(equipment_id, str) else list(dict.fromkeys(equipment_id))
    known = {tag: _unit_at(histories, tag) for tag in tags}
    usual = _usual(histories)
    logs = {tag: _read(histories, unit_id, usual) for tag, (unit_id, _) in known.items()}
    rows = [row for tag, log in logs.items() for row in _hints(tag, known[tag][1], log)]
    return answer_from(
        histories,
        pd.DataFrame(rows, columns=[c.name for c in COLUMNS]),
        COLUMNS,
        name="causes",
        method=_METHOD,
        n_used=sum(len(days) for log in logs.values() for days in log.days.values()),
        notes=_notes(rows, logs),
        settings={"equipment_id": tags, "look_back_years": LOOK_BACK_YEARS, "largest_chance": LARGEST_CHANCE},
    )


def _unit_at(histories: Histories, tag: str) -> tuple[int, str]:
    """Return number and property of the last unit at a tag."""
    known = histories.database.rows(
        "select unit_id, property from history.unit where equipment_id = ? "
        "order by service_to is null desc, service_to desc, unit_id desc limit 1",
        [tag],
    )
    if not known:
        msg = f"no unit has the tag {tag!r}; tags are matched to the letter"
        raise AnalysisError(msg)
    return int(known[0][0]), str(known[0][1] or "")


def _usual(histories: Histories) -> dict[str, float]:
    """Work out the events of every unit in the years looked back over, and return the fleet's rate of each kind."""
    database = histories.database
    since = histories.as_of - dt.timedelta(days=round(LOOK_BACK_YEARS * DAYS_PER_YEAR))
    database.run("create or replace table history.cause_since as select ?::date as day", [since])
    database.run_file("fleet.analysis", "cause_events")
    rates = database.rows("select kind, per_unit_year from history.cause_usual")
    return {str(kind): float(per_year) for kind, per_year in rates}


def _read(histories: Histories, unit_id: int, usual: dict[str, float]) -> _UnitLog:
    database = histories.database
    days: dict[str, list[dt.date]] = {}
    for kind, day in database.rows(
        "select kind, day from history.cause_event where unit_id = ? order by day, kind", [unit_id]
    ):
        days.setdefault(str(kind), []).append(day)
    work, fitted = {}, {}
    for name, looked, part in database.rows(
        "select component, max(day), max(day) filter (part_fitted) from history.cause_look where unit_id = ? "
        "group by component",
        [unit_id],
    ):
        work[str(name)] = looked
        if part is not None:
            fitted[str(name)] = part
    own = database.value("select coalesce(sum(days), 0) from history.cause_watched where unit_id = ?", [unit_id])
    return _UnitLog(days=days, work=work, fitted=fitted, years=float(own) / DAYS_PER_YEAR, fleet_rate=usual)


def _hints(tag: str, place: str, log: _UnitLog) -> list[dict[str, object]]:
    """Return one unit's hints, the least likely by chance first."""
    rows = [row for rule in RULES if (row := _apply(rule, log)) is not None]
    rows.sort(key=lambda row: (row["chance"], row["hint"]))
    return [{"property": place, "equipment_id": tag, **row, "note": ""} for row in rows]


def _apply(rule: CauseRule, log: _UnitLog) -> dict[str, object] | None:
    """Return the hint's row, or None where its threshold isn't met."""
    begun = log.days.get(rule.after, []) if rule.after else []
    if rule.after and not begun:
        return None
    dated = sorted((day, kind) for kind in rule.kinds for day in log.days.get(kind, []) if not begun or day > begun[0])
    # a breaker trip and the breaker found at fault on that day are one event
    dated = [item for place, item in enumerate(dated) if place == 0 or item[0] != dated[place - 1][0]]
    if len(dated) < rule.fewest:
        return None
    first = dated[0][0]
    looked = [log.work.get(name) for name in rule.unless] + [log.fitted.get(name) for name in rule.unless_fitted]
    if any(day is not None and day >= first for day in looked):
        return None
    usual = sum(log.fleet_rate.get(kind, 0.0) for kind in rule.kinds) * log.years
    # P(at least so many): the lower tail of a gamma law
    chance = float(special.gammainc(len(dated), usual)) if usual > 0 else 0.0
    if chance > LARGEST_CHANCE:
        return None
    return {
        "hint": rule.hint,
        "events": len(dated),
        "usual_events": usual,
        "chance": chance,
        "first_on": first,
        "last_on": dated[-1][0],
        "evidence": _evidence(rule, dated, begun, usual, log.years),
        "look_at": rule.look_at,
        "basis": rule.basis,
        "cautions": ", ".join(rule.topics),
    }


def _evidence(
    rule: CauseRule, dated: Sequence[tuple[dt.date, str]], begun: Sequence[dt.date], usual: float, years: float
) -> str:
    named = [f"{kind} {day}" if len(rule.kinds) > 1 else f"{day}" for day, kind in dated]
    often = "twice" if len(dated) == 2 else f"{len(dated)} times"
    what = often if len(rule.kinds) > 1 else f"{rule.kinds[0]} {often}"
    since = f" after a kit was added on {begun[0]}" if begun else ""
    text = f"{what}{since} ({', '.join(named)}) in {years:.1f} years, where {usual:.1f} are usual"
    silent = [("work on", name) for name in rule.unless] + [("part fitted for", name) for name in rule.unless_fitted]
    if not silent:
        return f"{text}."
    return f"{text}; no {silent[0][0]} {', '.join(name for _, name in silent)} since the first of them."


def _notes(rows: Sequence[dict[str, object]], logs: dict[str, _UnitLog]) -> list[str]:
    hinted = {str(row["equipment_id"]) for row in rows}
    silent = [_nothing_at(tag, log) for tag, log in logs.items() if tag not in hinted]
    if not rows:
        return silent
    topics = dict.fromkeys(topic for row in rows for topic in str(row["cautions"]).split(", "))
    sentences = [caution.text for caution in cautions_on(*topics, "general")]  # type: ignore[arg-type]
    whose = "this unit's" if len(logs) == 1 else "each unit's"
    return [
        f"A hint is a place to look, not a finding; it rests on {whose} log alone.",
        *silent,
        *dict.fromkeys(sentences),
    ]


def _nothing_at(tag: str, log: _UnitLog) -> str:
    seen = sum(len(days) for days in log.days.values())
    if not seen:
        return f"The log has no event at {tag} in {log.years:.1f} years that could point at a cause."
    what = "event" if seen == 1 else "events"
    return (
        f"Nothing in the {seen} {what} of {tag} over {log.years:.1f} years passes a threshold: no hint is given, which "
        "doesn't mean nothing is there."
    )
