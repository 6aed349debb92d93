"""Do a column's values fit a column of the contract? Kinds, plausible ranges, words understood: for a guess."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from types import MappingProxyType

from fleet.ingest.guess_names import unit_code
from fleet.ingest.guess_values import ColumnValues
from fleet.ingest.measures import CONVERSIONS, UNITS
from fleet.ingest.words import understand_word
from fleet.store.schema import Column

_REFRIGERANT = re.compile(
    r"(r[\s-]*|hcfc[\s-]*|hfc[\s-]*)?(22|32|134a|407c|410a?|421a|422d|438a|454b|290|12|502)|freon", re.IGNORECASE
)
_WORKDAYS = re.compile(r"(mon|tue|wed|thu|fri|sat|sun|lun|m)\w*\W.*", re.IGNORECASE)

_WEIGHED = re.compile(r"[\d.]+\s*(lb|#|oz)", re.IGNORECASE)

_LITTLE = -0.3
"""Many of the values are it, many aren't: no reason to disbelieve a header that says so."""

_HERM = frozenset(
    {10.0, 12.5, 15.0, 17.5, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0, 65.0, 70.0, 75.0, 80.0, 85.0, 90.0}
)
_FAN = frozenset({1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5, 8.0, 10.0, 12.5, 15.0})
_RANGES: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "labor_minutes": (3, 960), "refrigerant_added_oz": (0, 300), "charge_oz": (20, 400), "indoor_f": (48, 118),
        "high_f": (-40, 130), "low_f": (-60, 105), "high_c": (-40, 55), "low_c": (-50, 40), "tons": (0.5, 7.5),
        "herm_uf": (9, 110), "fan_uf": (1, 20), "start_uf_min": (15, 450), "start_uf_max": (18, 550), "value": (0, 550),
        "tolerance_pct": (1, 25), "quantity": (0, 60), "part_quantity": (0, 60), "lead_time_days": (0, 400),
        "pack_size": (1, 1000), "shelf_life_months": (1, 240), "on_hand": (0, 9999), "on_order": (0, 9999),
        "volts": (20, 700), "amps": (0.01, 100), "hertz": (45, 65), "walk_order": (0, 2000),
        **{f"herm_{stage}_uf": (0, 115) for stage in ("found", "left", "new")},
        **{f"fan_{stage}_uf": (0, 22) for stage in ("found", "left", "new")},
        **{f"start_{stage}_uf": (0, 550) for stage in ("found", "left", "new")},
    }
)  # fmt: skip
"""Plausible numbers, in the contract's own unit: common practice, no source; only for guessing what a column is."""

ENOUGH = 5
"""Filled cells from which on words of which none is known speak against a short list."""

HOURS = 12
"""A middle value of labor up to this is likelier hours than money."""

SPREAD: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"labor_minutes": (10, 400), "charge_oz": (25, 300), "indoor_f": (60, 105), "tons": (0.8, 6), "high_f": (20, 115),
     "low_f": (0, 95)}
)  # fmt: skip
"""Where a column's middle value lies; by it the unit is guessed that a header leaves out."""


def fit(table: str, column: Column, values: ColumnValues, unit: str | None = None) -> tuple[float, str | None]:
    """Say how well values fit a column of the contract, and in which unit where that has to be guessed.

    Parameters
    ----------
    unit : str, optional
        The unit the header names, else None.

    Returns
    -------
    (float, str or None)
        From -1 (they can't be it) over 0 (nothing is known) to 1; the unit only where it isn't the contract's own.
    """
    if not len(values):
        return 0.0, unit
    if column.kind in ("number", "count"):
        return _fit_number(column, values, unit)
    return _FITS[column.kind](table, column, values), None


def _fit_date(table: str, column: Column, values: ColumnValues) -> float:
    dated = values.dated
    if dated < 0.5 <= values.serial:
        return 0.4
    return 1.0 if dated >= 0.9 else 0.5 if dated >= 0.6 else -0.3 if dated >= 0.3 else -1.0


def _fit_number(column: Column, values: ColumnValues, unit: str | None) -> tuple[float, str | None]:
    if values.numeric < 0.7 or values.dated > 0.5:
        weighed = column.name.endswith("_oz") and values.share(_WEIGHED.match) > 0.8
        some = values.numeric >= 0.3 and values.dated <= 0.5
        return (0.6, None) if weighed else (_LITTLE if some else -1.0, unit)
    own, *others = UNITS.get(column.name, ("",))
    codes = [unit] if unit else [own, *(others if column.name in SPREAD else ())]
    scores = {code: _in_range(column.name, _converted(values.numbers, own, code)) for code in codes}
    code = max(codes, key=lambda one: scores[one])
    score = scores[code]
    if column.name in ("herm_uf", "fan_uf") and code == own:
        score = min(score, _rated(values, _HERM if column.name == "herm_uf" else _FAN))
    if column.name.endswith(("_found_uf", "_left_uf")) and column.name[:4] in ("herm", "fan_"):
        score -= 0.4 * (_rated(values, _HERM | _FAN) > 0.4 and len(values) >= 4)
    if column.name.endswith("quantity") and any(value != int(value) for value in values.numbers):
        score -= 0.4
    return score, None if code == own else code


def _converted(numbers: Sequence[float], own: str, code: str) -> list[float]:
    factor, offset = CONVERSIONS.get((own, code), (1.0, 0.0))
    return [value * factor + offset for value in numbers]


def _in_range(name: str, numbers: Sequence[float]) -> float:
    if name not in _RANGES:
        return 0.1
    low, high = _RANGES[name]
    inside = sum(low <= value <= high for value in numbers) / len(numbers)
    if name in SPREAD:
        middle = sorted(numbers)[len(numbers) // 2]
        inside *= 1.0 if SPREAD[name][0] <= middle <= SPREAD[name][1] else 0.4
    return 0.5 if inside >= 0.9 else 0.1 if inside >= 0.6 else -0.7


def _rated(values: ColumnValues, nominal: frozenset[float]) -> float:
    """Return how much values look like ratings on labels rather than readings."""
    share = sum(value in nominal for value in values.numbers) / max(len(values.numbers), 1)
    return 0.6 if share >= 0.85 else 0.0 if share >= 0.5 or len(values) < 4 else -0.8


def _fit_money(table: str, column: Column, values: ColumnValues) -> float:
    if values.numeric < 0.7 or values.dated > 0.5:
        return _LITTLE if values.numeric >= 0.3 and values.dated <= 0.5 else -1.0
    middle = sorted(values.numbers)[len(values.numbers) // 2]
    if column.name == "labor_cost" and middle <= HOURS and not values.share(lambda cell: "$" in cell):
        return -0.35
    return 0.6 if values.money >= 0.5 else 0.15


def _fit_yesno(table: str, column: Column, values: ColumnValues) -> float:
    if values.yesno < 0.8:
        return _LITTLE if values.yesno >= 0.5 else -0.9
    return 0.6 if values.numeric < 0.5 else 0.3


def _fit_word(table: str, column: Column, values: ColumnValues) -> float:
    if max(values.dated, values.money, values.clock) > 0.5:
        return -1.0
    known = values.share(lambda cell: _understood(column, cell))
    if values.numeric > 0.8 and known < 0.3:
        return -0.7
    if known >= 0.4:
        return min(1.0, 0.2 + known)
    if known == 0.0 and len(values) >= ENOUGH:
        return -0.5
    return -0.1 if known >= 0.15 or (len(values.distinct) <= 25 and values.wordy < 0.5) else -0.4


@lru_cache(maxsize=16384)
def _understood(column: Column, cell: str) -> bool:
    return understand_word(column, cell) is not None


def _fit_text(table: str, column: Column, values: ColumnValues) -> float:
    if max(values.dated, values.numeric, values.yesno) > 0.6:
        return -0.7
    if column.name != "notes":
        return 0.1
    if values.wordy >= 0.4:
        return 0.7 if values.unique > 0.3 else 0.4
    return 0.1 if values.wordy >= 0.1 else -0.2


def _fit_tag(table: str, column: Column, values: ColumnValues) -> float:
    if column.name in _TAGS:
        return _TAGS[column.name](table, values)
    if max(values.dated, values.money) > 0.6 or (values.wordy > 0.6 and values.unique > 0.5 and len(values) > 5):
        return -0.8
    return -0.4 if values.yesno > 0.95 and values.lettered > 0.5 else 0.1


def _not_a_tag(values: ColumnValues) -> bool:
    return max(values.dated, values.money, values.clock, values.wordy) > 0.6 or values.fractions > 0.5


def _fit_unit_tag(table: str, values: ColumnValues) -> float:
    if _not_a_tag(values) or (values.yesno > 0.9 and len(values.distinct) <= 2):
        return -0.9
    if len(values) >= 12 and len(values.distinct) <= 2:
        return -0.6
    if table == "equipment":
        return 0.4 if values.unique >= 0.9 else 0.0 if values.unique >= 0.7 or len(values) < 8 else -0.7
    return 0.25 if len(values.distinct) >= 4 else 0.0


def _fit_visit_id(table: str, values: ColumnValues) -> float:
    if _not_a_tag(values) or values.yesno > 0.9:
        return -0.9
    if table != "visits" or len(values) < 4:
        return 0.1
    return 0.35 if values.unique >= 0.97 else 0.0 if values.unique >= 0.5 else -0.8


def _fit_person(table: str, values: ColumnValues) -> float:
    if _not_a_tag(values) or (values.yesno > 0.9 and len(values.distinct) <= 2):
        return -0.8
    if len(values) >= 20 and values.unique > 0.6:
        return -0.4
    return 0.3 if values.lettered > 0.8 and values.components < 0.3 else 0.0


def _fit_place(table: str, values: ColumnValues) -> float:
    if max(values.dated, values.money, values.clock) > 0.6 or (values.yesno > 0.9 and values.lettered > 0.5):
        return -0.8
    return -0.4 if table == "visits" and len(values) >= 30 and values.unique > 0.7 else 0.15


def _matching(pattern: re.Pattern[str]) -> Callable[[str, ColumnValues], float]:
    def fitted(table: str, values: ColumnValues) -> float:
        share = values.share(pattern.fullmatch)
        return 0.9 if share >= 0.75 else 0.2 if share >= 0.4 else -0.7

    return fitted


def _fit_measure(table: str, values: ColumnValues) -> float:
    few = values.lettered > 0.8 and len(values.distinct) <= 12
    return 0.9 if few and values.share(unit_code) >= 0.8 else -0.9


def _fit_number_of_part(table: str, values: ColumnValues) -> float:
    if max(values.dated, values.money) > 0.6 or values.wordy > 0.6 or values.yesno > 0.9:
        return -0.8
    marked = values.share(lambda cell: any(letter.isdigit() for letter in cell) and len(cell) >= 3)
    if values.numeric > 0.9 and values.share(lambda cell: len(cell) <= 2) > 0.5:
        return -0.5
    return 0.3 if marked >= 0.7 else 0.0 if values.components < 0.6 else -0.3


def _fit_clock(table: str, values: ColumnValues) -> float:
    return 0.5 if values.clock > 0.5 else 0.0


_TAGS: Mapping[str, Callable[[str, ColumnValues], float]] = MappingProxyType(
    {
        "equipment_id": _fit_unit_tag, "visit_id": _fit_visit_id, "technician": _fit_person, "vendor": _fit_person,
        "building": _fit_place, "property": _fit_place, "refrigerant": _matching(_REFRIGERANT), "unit": _fit_measure,
        "part_no": _fit_number_of_part, "workdays": _matching(_WORKDAYS),
        "hours_from": _fit_clock, "hours_to": _fit_clock,
    }
)  # fmt: skip

_FITS: Mapping[str, Callable[[str, Column, ColumnValues], float]] = MappingProxyType(
    {
        "date": _fit_date, "datetime": _fit_date, "money": _fit_money, "yesno": _fit_yesno, "word": _fit_word,
        "component": _fit_word, "text": _fit_text, "tag": _fit_tag,
    }
)  # fmt: skip
