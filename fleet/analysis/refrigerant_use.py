"""Which units keep losing refrigerant? Ounces added, leak indicators by two published formulas, top-ups on top-ups.

The two formulas are those of 40 CFR 82.152 and 84.102 (`fleet.trade.refrigerant`). What went into a circuit that was
opened anyway (compressor or metering device changed, unit replaced) filled it and made up for no leak, so it counts as
refrigerant used and not as lost.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Hashable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from fleet.analysis.poisson import check_level, garwood_limits
from fleet.analysis.refrigerant_record import UnitRecord, read_records
from fleet.answer import Answer, AnswerColumn
from fleet.errors import AnalysisError
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR, LEVEL
from fleet.trade.cautions import cautions_on
from fleet.trade.refrigerant import (
    COMFORT_COOLING_PCT,
    INDICATOR_NOTE,
    OUNCES_PER_POUND,
    ROLLING_DAYS,
    annualized_leak_pct,
    find_refrigerant,
    rolling_leak_pct,
    rule_standing,
)

REPEATED = 3
"""Top-ups without a part of the circuit fitted in between from which a unit is named (this project's own choice)."""

SOON_DAYS = 30
"""Top-ups closer together than this are one job done in two visits rather than a rate (common practice, no source)."""

CHRONIC_SHARE = 1.25
"""Share of the full charge lost in a calendar year from which the rules ask for a report (40 CFR 82.157)."""

COLUMNS = (
    AnswerColumn(name="equipment_id", kind="text", meaning="the unit's tag"),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="refrigerant", kind="text", meaning="as on its data plate"),
    AnswerColumn(name="charge_oz", kind="number", meaning="full charge of the data plate", unit="ounces"),
    AnswerColumn(name="in_service", kind="yesno", meaning="whether it still is"),
    AnswerColumn(name="unit_years", kind="number", meaning="time in service in the log, empty homes too", unit="years"),
    AnswerColumn(name="top_ups", kind="count", meaning="days on which refrigerant was added to a closed circuit"),
    AnswerColumn(name="top_up_oz", kind="number", meaning="what was added on them", unit="ounces"),
    AnswerColumn(
        name="recharge_oz", kind="number", meaning="what filled a circuit that was opened anyway", unit="ounces"
    ),
    AnswerColumn(name="oz_per_year", kind="number", meaning="topped up a year in service", unit="ounces a year"),
    AnswerColumn(name="low", kind="number", meaning="low end of oz_per_year, by the number of top-ups"),
    AnswerColumn(name="high", kind="number", meaning="high end of oz_per_year"),
    AnswerColumn(name="last_on", kind="date", meaning="day of the last top-up"),
    AnswerColumn(
        name="annualized_pct", kind="number", meaning="leak indicator at it, annualizing formula", unit="% a year"
    ),
    AnswerColumn(name="rolling_pct", kind="number", meaning="leak indicator at it, rolling formula", unit="% a year"),
    AnswerColumn(
        name="rolling_now_pct", kind="number", meaning="topped up in the 365 days to the as-of day", unit="% of charge"
    ),
    AnswerColumn(name="unmended", kind="count", meaning="top-ups since a part of the circuit was last fitted"),
    AnswerColumn(name="unmended_since", kind="date", meaning="day of the first of these"),
    AnswerColumn(name="alert", kind="yesno", meaning="yes: in service and topped up three times or more so"),
    AnswerColumn(
        name="rule", kind="text", meaning="whether a federal leak-repair rule may look at it: below, may apply, unknown"
    ),
    AnswerColumn(
        name="safety_class", kind="text", meaning="of its refrigerant, A2L mildly flammable; blank: not known"
    ),
    AnswerColumn(name="note", kind="text", meaning="why a number is blank"),
)

_METHOD = (
    "Ounces topped up per unit-year in service, limits by the exact Poisson limits of the number of top-ups; leak "
    "indicators by the annualizing and the rolling formula of 40 CFR 82.152 and 84.102 at the last top-up."
)


def track_refrigerant(histories: Histories, *, level: float = LEVEL, repeated: int = REPEATED) -> Answer:
    """Say how much refrigerant each unit was given, how fast it seems to leak, and which are topped up again and again.

    Parameters
    ----------
    histories : Histories
        The log as known on its as-of day.
    level : float
        Two-sided level of ``low`` and ``high``.
    repeated : int
        So many top-ups without a part of the circuit fitted in between name a unit (2 or more).

    Returns
    -------
    Answer
        One row a unit (`COLUMNS`), those named first, then by what was topped up. Percentages are blank where the
        charge isn't known, and where the log doesn't show when the addition before the last was made.

    Raises
    ------
    AnalysisError
        When the level or ``repeated`` is out of range.

    Notes
    -----
    Always an indicator, never a compliance result. The first top-up of a unit counts 365 days where the log was kept
    that long before it, or the days since it was installed in the log; additions before a gap in the log aren't looked
    at across it. A flare made again without a part leaves no trace in the parts used, so "unmended" means that none
    was written down.
    """
    check_level(level)
    if repeated < 2:
        msg = f"repeated = {repeated} must be 2 or more top-ups"
        raise AnalysisError(msg)
    histories.database.run_file("fleet.analysis", "refrigerant_visit")
    units = histories.database.frame("select * from history.refrigerant_unit order by unit_id")
    visits = histories.database.frame("select * from history.refrigerant_visit order by unit_id, reported_at, place")
    stretches = histories.database.frame("select unit_id, from_day, to_day from history.stretch order by all")
    records = read_records(visits.loc[visits["in_log"]], stretches)
    rows = []
    for unit in units.to_dict("records"):
        record, charge = records[unit["unit_id"]], _charge(unit["charge_oz"])
        rows.append(
            _plate(unit, charge)
            | {
                "top_ups": len(record.top_ups),
                "top_up_oz": sum(addition.ounces for addition in record.top_ups),
                "recharge_oz": record.recharge_oz,
            }
            | _leaks(record, charge, _day(unit["installed_on"]), histories.as_of)
            | _repeats(record, repeated, in_service=bool(unit["in_service"]))
        )
    table = _with_rates(pd.DataFrame(rows, columns=[column.name for column in COLUMNS]), level)
    table = table.assign(named=table["alert"] == "yes").sort_values(
        ["named", "unmended", "top_up_oz", "equipment_id"], ascending=[False, False, False, True]
    )
    return answer_from(
        histories,
        table,
        COLUMNS,
        name="refrigerant",
        method=_METHOD,
        n_used=int(table["top_ups"].sum()),
        notes=_notes(table, repeated),
        excluded=_excluded(visits),
        settings={"level": level, "repeated": repeated},
    )


def _day(day: Any) -> dt.date | None:  # noqa: ANN401 (a date, a timestamp or a blank, as the engine gives it)
    return None if pd.isna(day) else pd.Timestamp(day).date()


def _charge(ounces: float) -> float | None:
    return float(ounces) if ounces > 0 else None


def _plate(unit: Mapping[Hashable, Any], charge: float | None) -> dict[str, object]:
    word = _text(unit["refrigerant"])
    known = find_refrigerant(word)
    return {
        "equipment_id": unit["equipment_id"],
        "property": _text(unit["property"]),
        "building": _text(unit["building"]),
        "refrigerant": known.name if known else word,
        "charge_oz": charge if charge else np.nan,
        "in_service": "yes" if unit["in_service"] else "no",
        "unit_years": unit["days"] / DAYS_PER_YEAR,
        "rule": rule_standing(known, charge),
        "safety_class": known.safety_class if known else "",
    }


def _text(word: Any) -> str:  # noqa: ANN401 (text or a blank)
    return "" if pd.isna(word) else str(word)


def _with_rates(table: pd.DataFrame, level: float) -> pd.DataFrame:
    """Add ounces a year with the limits of the number of top-ups, each of the unit's usual size (else the fleet's)."""
    years, counts = table["unit_years"].to_numpy(np.float64), table["top_ups"].to_numpy(np.float64)
    ounces = table["top_up_oz"].to_numpy(np.float64)
    usual = ounces.sum() / counts.sum() if counts.sum() else np.nan
    each = np.where(counts > 0, ounces / np.maximum(counts, 1), usual)
    low, high = garwood_limits(counts, years, level)
    return table.assign(oz_per_year=ounces / years, low=np.where(counts > 0, low * each, 0.0), high=high * each)


def _leaks(record: UnitRecord, charge: float | None, installed_on: dt.date | None, as_of: dt.date) -> dict[str, object]:
    """Return both indicators at the last top-up, and what was topped up in the year to the as-of day."""
    row: dict[str, object] = {
        "last_on": record.top_ups[-1].date if record.top_ups else None,
        "annualized_pct": np.nan,
        "rolling_pct": np.nan,
        "rolling_now_pct": np.nan,
    }
    if charge is None:
        return row | {"note": "full charge unknown: ounces only, no percent"}
    row["rolling_now_pct"] = rolling_leak_pct(record.top_ups, charge, as_of=as_of)
    if not record.top_ups:
        return row | {"note": ""}
    last = record.top_ups[-1].date
    since = record.watched_from(last)
    seen = [addition for addition in record.top_ups if addition.date >= since]
    filled = [day for day in (*record.opened_on, installed_on) if day is not None and since <= day < last]
    annualized = annualized_leak_pct(seen, charge, filled_on=max(filled, default=None), watched_from=since)
    row["annualized_pct"] = np.nan if annualized is None else annualized
    row["rolling_pct"] = rolling_leak_pct(record.top_ups, charge, as_of=last)
    return row | {"note": "; ".join(_leak_notes(record, charge, last, annualized))}


def _leak_notes(record: UnitRecord, charge: float, last: dt.date, annualized: float | None) -> Iterator[str]:
    kept = (last - record.watched_from(last)).days
    if annualized is None:
        yield f"the log was kept only {kept} days before the one top-up, so the annualizing formula has no days to use"
    elif kept < ROLLING_DAYS and not any(True for first, _ in record.stretches if first > last):
        yield f"the log was kept only {kept} days before the last top-up: the rolling percent is at least so much"
    if len(record.top_ups) > 1 and (last - record.top_ups[-2].date).days < SOON_DAYS:
        days = (last - record.top_ups[-2].date).days
        yield f"the last two top-ups lie {days} days apart: the annualizing formula says little over so short a time"
    by_year: dict[int, float] = defaultdict(float)
    for addition in record.top_ups:
        by_year[addition.date.year] += addition.ounces
    year, most = max(by_year.items(), key=lambda item: item[1])
    if most >= CHRONIC_SHARE * charge:
        yield (
            f"topped up with {100 * most / charge:.0f} % of its charge in {year}; the rules call "
            f"{100 * CHRONIC_SHARE:g} % in a calendar year a chronic leak"
        )


def _repeats(record: UnitRecord, repeated: int, *, in_service: bool) -> dict[str, object]:
    n = len(record.unmended)
    return {
        "unmended": n,
        "unmended_since": record.unmended[0].date if n else None,
        "alert": "yes" if n >= repeated and in_service else "no",
    }


def _excluded(visits: pd.DataFrame) -> dict[str, int]:
    added = visits.loc[visits["ounces"] > 0]
    counts = {
        "fillings of circuits opened anyway, no leak": int((added["in_log"] & added["opened"]).sum()),
        "additions while no log was kept or no unit was in service": int((~added["in_log"]).sum()),
    }
    return {why: n for why, n in counts.items() if n}


def _notes(table: pd.DataFrame, repeated: int) -> list[str]:
    if not table["top_ups"].sum():
        return [
            "No refrigerant was added to a closed circuit in this log; write down ounces with each visit.",
            INDICATOR_NOTE,
        ]
    named, charge = table.loc[table["alert"] == "yes"], float(table["charge_oz"].median())
    over = table.loc[(table["in_service"] == "yes") & (table["rolling_now_pct"] > COMFORT_COOLING_PCT)]
    notes = [
        INDICATOR_NOTE,
        f"{_units(len(named))} in service topped up {repeated} times or more with no part of the circuit fitted in "
        "between; a leak mended without a part (a flare made again) isn't seen here.",
        f"{_units(len(over))} in service given over {COMFORT_COOLING_PCT:g} % of their charge in the last 365 days.",
        f"Half of the units hold {charge / OUNCES_PER_POUND:.1f} lb or less, where "
        f"{charge * COMFORT_COOLING_PCT / 100:.0f} oz already make so much: read the percent as an order of units, not "
        "as a verdict.",
        "The two formulas answer differently by design: keep to one. The first top-up of a unit counts as a year "
        "after the one before where the log was kept that long.",
    ]
    may = int((table["rule"] == "may apply").sum())
    if may:
        notes.append(f"{_units(may)} of a charge the federal rules look at: settle with whoever knows the law.")
    blank = int(table["charge_oz"].isna().sum())
    if blank:
        notes.append(f"The full charge of {_units(blank)} isn't known: ounces only; read it off the data plate.")
    return [*notes, *(caution.text for caution in cautions_on("refrigerant"))]


def _units(n: int) -> str:
    return f"{n} unit" if n == 1 else f"{n} units"
