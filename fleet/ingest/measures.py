"""Units a log's numbers may be written in: the words for them, the columns that take them, and how to convert."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from fleet.store.schema import SHEET_COLUMNS, TABLES

UNIT_WORDS: Mapping[str, str] = MappingProxyType(
    {
        word: code
        for code, words in {
            "h": "h hr hrs hour hours horas",
            "min": "min mins minute minutes minutos",
            "lb": "lb lbs pound pounds libras",
            "oz": "oz ozs ounce ounces onzas",
            "kg": "kg kgs kilo kilos kilogram kilograms",
            "g": "g gr gm gram grams",
            "C": "c degc celsius centigrade",
            "F": "f degf fahrenheit",
            "btu": "btu btus btuh",
            "kbtu": "kbtu kbtus kbtuh mbh",
            "kw": "kw kilowatt kilowatts",
            "tons": "ton tons tonnage toneladas tn",
            "uF": "uf ufd mfd mfds microfarad microfarads mf umf",
            "nF": "nf nanofarad nanofarads",
            "pF": "pf picofarad picofarads",
            "ft": "ft feet foot pies",
            "m": "m metre metres meter meters",
            "days": "day days dias",
            "weeks": "week weeks wk wks semanas",
            "months": "month months mo mos meses",
            "years": "year years yr yrs",
        }.items()
        for word in words.split()
    }
)
"""Words for a unit of measure, each with its code; ``mF`` is told from ``MF`` by its letters' case."""

UNITS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "labor_minutes": ("min", "h"),
        "refrigerant_added_oz": ("oz", "lb", "kg", "g"),
        "charge_oz": ("oz", "lb", "kg", "g"),
        **dict.fromkeys(("indoor_f", "high_f", "low_f"), ("F", "C")),
        **dict.fromkeys(("high_c", "low_c"), ("C",)),
        "tons": ("tons", "btu", "kbtu", "kw"),
        **{
            column.name: ("uF", "nF", "mF", "pF")
            for column in (*SHEET_COLUMNS, *TABLES["readings"].columns)
            if column.name.split("_")[0] in ("herm", "fan", "start") or column.name == "value"
        },
        **dict.fromkeys(("x", "y"), ("m", "ft")),
        "lead_time_days": ("days", "weeks", "months"),
        "shelf_life_months": ("months", "days", "weeks", "years"),
    }
)
"""Units a column may be written in, the contract's own first."""

_MONTH_DAYS = 365.25 / 12

CONVERSIONS: Mapping[tuple[str, str], tuple[float, float]] = MappingProxyType(
    {
        ("min", "h"): (60.0, 0.0),
        ("oz", "lb"): (16.0, 0.0),
        ("oz", "kg"): (16 / 0.45359237, 0.0),
        ("oz", "g"): (16 / 453.59237, 0.0),
        ("F", "C"): (1.8, 32.0),
        ("tons", "btu"): (1 / 12_000, 0.0),
        ("tons", "kbtu"): (1 / 12, 0.0),
        ("tons", "kw"): (1 / 3.516853, 0.0),
        ("uF", "nF"): (1e-3, 0.0),
        ("uF", "mF"): (1e3, 0.0),
        ("uF", "pF"): (1e-6, 0.0),
        ("m", "ft"): (0.3048, 0.0),
        ("days", "weeks"): (7.0, 0.0),
        ("days", "months"): (_MONTH_DAYS, 0.0),
        ("months", "days"): (1 / _MONTH_DAYS, 0.0),
        ("months", "weeks"): (7 / _MONTH_DAYS, 0.0),
        ("months", "years"): (12.0, 0.0),
    }
)
"""(own unit, other unit) -> (factor, offset): own = other x factor + offset. Source: NIST SP 811 (2008), Appendix B."""

LIKE_UNITS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        code: tuple(dict.fromkeys(units[0] for units in UNITS.values() if code in units))
        for code in dict.fromkeys(UNIT_WORDS.values())
    }
    | {"mF": ("uF",)}
)
"""For a unit the contract's own ones it can be converted to: ``lb`` -> ``oz``; ``weeks`` -> ``days``, ``months``."""
