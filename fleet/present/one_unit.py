"""What was done at this unit before, with what readings, and is the reading in hand all right to leave?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from fleet.errors import AnalysisError
from fleet.histories.build import Histories
from fleet.present.numbers import as_date, counted, day, finite, is_blank, signed_pct
from fleet.settings import TOLERANCE_PCT
from fleet.store.database import read_sql
from fleet.trade.capacitor import Verdict, judge_run_reading, judge_start_reading

SECTIONS = {"herm": "compressor section (herm)", "fan": "fan section", "start": "start capacitor"}
"""How the sections are called on a page."""


_PLATE = (
    ("model", "Model", ""),
    ("model_family", "Family", ""),
    ("compressor_type", "Compressor", ""),
    ("tons", "Capacity", " tons"),
    ("refrigerant", "Refrigerant", ""),
    ("charge_oz", "Charge", " oz"),
    ("herm_uf", "Run capacitor, compressor section", " µF"),
    ("fan_uf", "Run capacitor, fan section", " µF"),
    ("tolerance_pct", "Marked tolerance", " %"),
    ("start_uf_min", "Start capacitor from", " µF"),
    ("start_uf_max", "Start capacitor to", " µF"),
    ("installed_on", "Installed", ""),
    ("warranty_until", "Parts warranty until", ""),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitHistory:
    """Everything the log knows of one tag.

    Attributes
    ----------
    equipment_id, property, building, apartment : str
        The tag and where it hangs.
    units : DataFrame
        One row a unit that hung there, the last one last, with its data plate.
    visits : DataFrame
        One row a visit, the latest first.
    readings : DataFrame
        One row a reading, the oldest first; ``off_pct`` is its deviation from the rating in percent.
    parts : DataFrame
        One row a part fitted, the latest first.
    """

    equipment_id: str
    property: str
    building: str
    apartment: str
    units: pd.DataFrame
    visits: pd.DataFrame
    readings: pd.DataFrame
    parts: pd.DataFrame

    def calls(self) -> pd.DataFrame:
        """Return the visits that weren't a spring round or a turnover."""
        planned = self.visits["call_type"].isin(["preventive maintenance", "turnover"])
        return self.visits[~planned]

    def plate(self) -> dict[str, Any]:
        """Return the data plate of the unit that hangs there now, blanks left out."""
        row = self.units.iloc[-1].to_dict()
        return {str(name): value for name, value in row.items() if not is_blank(value)}

    def ratings(self) -> dict[str, float]:
        """Return the rated microfarads of the run sections known for the unit that hangs there now."""
        plate = self.plate()
        known = {section: finite(plate.get(f"{section}_uf")) for section in ("herm", "fan")}
        return {section: value for section, value in known.items() if value is not None}


def read_unit(histories: Histories, equipment_id: str) -> UnitHistory:
    """Read the whole history of one tag.

    Raises
    ------
    AnalysisError
        If no unit ever hung at that tag.
    """
    database = histories.database
    tag = {"tag": equipment_id}
    units = database.frame(read_sql("fleet.present", "unit_service"), tag)
    if units.empty:
        msg = f"no unit is known at the tag {equipment_id!r}; see the equipment table for the tags in use"
        raise AnalysisError(msg)
    place = database.frame(read_sql("fleet.present", "tag"))
    row = place[place["equipment_id"] == equipment_id].iloc[0]
    tolerance = {"tolerance_pct": TOLERANCE_PCT}
    return UnitHistory(
        equipment_id=equipment_id,
        property=str(row["property"]),
        building=str(row["building"]),
        apartment=str(row["apartment"]),
        units=units,
        visits=database.frame(read_sql("fleet.present", "unit_visit"), tag),
        readings=database.frame(read_sql("fleet.present", "unit_reading"), {**tag, **tolerance}),
        parts=database.frame(read_sql("fleet.present", "unit_part"), tag),
    )


def unit_sentence(unit: UnitHistory) -> str:
    """Say in one sentence what a tech must know first: calls, the last one, the last reading of each section."""
    calls = unit.calls()
    if unit.visits.empty:
        return f"{unit.equipment_id} has no visit in the log."
    said = f"{unit.equipment_id} has had {counted(len(calls), 'call visit')}"
    if not calls.empty:
        last = calls.iloc[0]
        found = "nothing written down" if is_blank(last["finding"]) else str(last["finding"])
        when = f"on {day(last['day'])}" if len(calls) == 1 else f"the last on {day(last['day'])}"
        since = "" if len(calls) == 1 else f" since {day(as_date(unit.visits['day'].min()))}"
        said += f"{since}, {when} ({found})"
    latest = last_readings(unit)
    if latest.empty:
        return f"{said}; no capacitor reading of it is in the log."
    parts = [
        f"{SECTIONS[str(row.section)]} {row.value_uf:g} of {row.rated_uf:g} µF ({signed_pct(row.off_pct)})"
        for row in latest.itertuples()
    ]
    return f"{said}; last read: {', '.join(parts)}."


def last_readings(unit: UnitHistory) -> pd.DataFrame:
    """Return the latest sound reading of each run section of the unit that hangs there now, with its verdict."""
    since = as_date(unit.units.iloc[-1]["service_from"])
    readings = unit.readings[unit.readings["off_pct"].notna()]
    readings = readings[readings["day"] >= pd.Timestamp(since)] if since else readings
    latest = readings.groupby("section", sort=False).tail(1).sort_values("section", ascending=False)
    columns = (latest["value_uf"], latest["rated_uf"], latest["tolerance_pct"])
    verdicts = [judge_run_reading(float(a), float(b), float(c)) for a, b, c in zip(*columns, strict=True)]
    return latest.assign(advice=[v.advice for v in verdicts], reason=[v.reason for v in verdicts])


def judge(unit: UnitHistory, section: str, measured_uf: float) -> Verdict | None:
    """Say what to do about a reading in hand; None where the section's rating isn't known.

    Parameters
    ----------
    section : str
        herm, fan or start.
    measured_uf : float
        The reading, microfarads.
    """
    plate = unit.plate()
    if section == "start":
        low, high = finite(plate.get("start_uf_min")), finite(plate.get("start_uf_max"))
        return None if low is None or high is None else judge_start_reading(measured_uf, low, high)
    rated = unit.ratings().get(section)
    tolerance = finite(plate.get("tolerance_pct")) or TOLERANCE_PCT
    return None if rated is None else judge_run_reading(measured_uf, rated, tolerance)


def visit_lines(unit: UnitHistory) -> list[dict[str, str]]:
    """Return every visit as a person would write it: when, what for, what was found, done, read and fitted."""
    return [_visit_line(unit, row) for row in _records(unit.visits)]


def priority_line(unit: UnitHistory) -> str:
    """Return what must be known of the home before anything else, blank where nothing is."""
    return (
        "Priority home: heat is a danger to the resident; cool this one first."
        if unit.plate().get("priority_home")
        else ""
    )


def plate_lines(unit: UnitHistory) -> list[str]:
    """Return the data plate of the unit that hangs there now as short lines, unknown values left out."""
    plate = unit.plate()
    place = (("", unit.property), ("building ", unit.building), ("apartment ", unit.apartment))
    where = ", ".join(f"{what}{name}" for what, name in place if name)
    lines = [f"Where: {where}"] if where else []
    lines += [f"{label}: {_plain(plate[name])}{unit_of}" for name, label, unit_of in _PLATE if name in plate]
    if len(unit.units) > 1:
        lines.append(f"{counted(len(unit.units), 'unit')} have hung at this tag; this is the last one.")
    return lines


def read_failure_days(histories: Histories, tags: list[str]) -> pd.DataFrame:
    """Return the days on which these units failed: equipment_id, day, component."""
    return histories.database.frame(read_sql("fleet.present", "failure_day"), {"tags": tags})


def _visit_line(unit: UnitHistory, visit: dict[str, Any]) -> dict[str, str]:
    done = [str(visit[name]) for name in ("finding", "outcome") if not is_blank(visit[name])]
    who = visit["vendor"] if not is_blank(visit["vendor"]) else visit["technician"]
    ounces = finite(visit["refrigerant_added_oz"])
    extra = [
        *(f"fitted {_part(row)}" for row in _of(unit.parts, visit)),
        *(_reading(row) for row in _of(unit.readings, visit)),
        *([f"added {ounces:g} oz refrigerant"] if ounces else []),
    ]
    found, notes = ", ".join(done) or "nothing written down", "" if is_blank(visit["notes"]) else str(visit["notes"])
    sentences = [
        f"Found: {found}.",
        *([f"Done: {'; '.join(extra)}."] if extra else []),
        *([f"Note: {notes}"] if notes else []),
        *([f"({who})"] if not is_blank(who) else []),
    ]
    return {
        "summary": " ".join(sentences),
        "day": day(visit["day"]),
        "call": str(visit["call_type"]) + (", after hours" if visit["after_hours"] is True else ""),
        "found": found,
        "done": "; ".join(extra),
        "who": "" if is_blank(who) else str(who),
        "notes": notes,
        "follows": "yes" if visit["follows_an_earlier_visit"] else "",
    }


def _of(rows: pd.DataFrame, visit: dict[str, Any]) -> list[dict[str, Any]]:
    return _records(rows[rows["visit_id"] == visit["visit_id"]])


def _records(rows: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in row.items()} for row in rows.to_dict("records")]


def _part(row: dict[str, Any]) -> str:
    number = "" if is_blank(row["part_no"]) else f" {row['part_no']}"
    lot = "" if is_blank(row["lot"]) else f", lot {row['lot']}"
    many = f"{row['quantity']:g} × " if row["quantity"] != 1 else ""
    return f"{many}{row['component']}{number} ({row['why']}{lot})"


def _reading(row: dict[str, Any]) -> str:
    if row["sense"] != "ok":
        return f"{row['section']} {row['stage']}: {row['sense']}"
    off = "" if finite(row["off_pct"]) is None else f" ({signed_pct(row['off_pct'])})"
    return f"{row['section']} {row['stage']} {row['value_uf']:g} µF{off}"


def _plain(value: object) -> str:
    number = finite(value)
    return f"{number:g}" if number is not None else day(value)
