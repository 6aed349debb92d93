"""Every rule a record is judged by, in one place: its name, what it does, and what it means in plain words.

The names stand in the reasons of refused records and in the notices of kept ones; ``tests/unit/test_rules.py`` holds
that no name is used that isn't here, and that each has a case of its own. Where each is applied: cells.py (a cell that
can't be read), csv_repair.py (a line that can't be split), spelling.py, versions.py and ``sql/check_*.sql``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

DOES = ("refused", "fixed", "flagged", "duplicate", "blank")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule: ``does`` says what becomes of a record it finds, ``basis`` where its limit comes from."""

    name: str
    does: str
    words: str
    basis: str = ""


def _rules(does: str, *rows: tuple[str, ...]) -> tuple[Rule, ...]:
    return tuple(Rule(name=row[0], does=does, words=row[1], basis=row[2] if len(row) > 2 else "") for row in rows)


COMMON = "common practice, no source"
CONTRACT = "log contract"

RULES: Mapping[str, Rule] = MappingProxyType(
    {
        rule.name: rule
        for rule in (
            *_rules(
                "refused",
                ("quote_not_closed", "a quote that is never closed: the line can't be split into fields"),
                ("quote_misplaced", "a quote in the middle of a quoted field: the line can't be split"),
                ("too_many_fields", "more fields than there are headers"),
                ("too_few_fields", "fewer fields than there are headers"),
                ("nul_byte", "a NUL byte: the line is damaged"),
                ("line_too_long", "a line longer than any record can be"),
                ("reported_in_future", "reported after the load's as-of day", CONTRACT),
                ("unknown_unit", "no unit of that tag is known", CONTRACT),
                ("visit_unknown", "its visit isn't in the log", CONTRACT),
                ("visit_quarantined", "its visit was refused; it comes back with it", CONTRACT),
                ("retired_before_installed", "retired before it was installed"),
                ("vacant_to_before_vacant_from", "empty until a day before it was empty from"),
                ("to_date_before_from_date", "ends before it begins"),
                ("value_missing", "a reading without a value"),
                ("unit_unknown", "a unit of measure that isn't known"),
                ("component_unknown_word", "a component outside the list: a reading is refused, a part kept as other"),
                ("stage_unknown_word", "neither found, left nor new"),
                ("method_unknown_word", "neither bench nor running"),
            ),
            *_rules(
                "fixed",
                ("tag_spelling", "a tag one spelling rule away from a known one", CONTRACT),
                ("building_spelling", "a building spelled another way"),
                ("property_spelling", "a property spelled another way"),
                ("part_spelling", "a part number one spelling rule away from the catalogue's"),
                ("family_spelling", "a model family spelled another way"),
                ("technician_spelling", "a technician spelled another way"),
                ("vendor_spelling", "an outside firm spelled another way"),
                ("meter_spelling", "a meter spelled another way"),
                ("said_the_same", "the mapping says these names are the same"),
                ("millifarad_slip", "mF written where microfarads are meant", CONTRACT),
                ("unit_converted", "written in another unit"),
                ("decimal_slip", "ten times the rating: the decimal point slipped", COMMON),
                ("sections_swapped", "herm and fan readings exchanged: the leads were swapped", COMMON),
                ("ratings_swapped", "herm and fan ratings exchanged: the fan's is never the larger", COMMON),
                ("range_reversed", "the start capacitor's range was written from high to low"),
                ("zero_rating", "a rating of zero says that there is none"),
                ("time_without_date", "a time of day without a date belongs to the day of the report"),
                ("offset_dropped", "an offset from universal time: the wall clock as written is kept", CONTRACT),
                ("farad_slip", "F written where microfarads are meant"),
                ("celsius_column", "every value of the column fits degrees Celsius only", COMMON),
            ),
            *_rules(
                "flagged",
                ("negative_money", "negative money counts as a credit", CONTRACT),
                ("times_out_of_order", "arrived before it was reported, or finished before that"),
                ("times_in_future", "arrived, finished or recorded after the as-of day"),
                ("outside_service", "no unit of this tag was in service that day; counts in costs only", CONTRACT),
                ("property_unknown", "no unit is of that property"),
                ("same_time_twice", "another visit to the unit was reported at the same minute"),
                ("two_places_at_once", "the technician arrived at another building at the same minute"),
                ("labor_unlikely", "over 24 hours of labor on one visit", COMMON),
                ("indoor_unlikely", "an indoor temperature no home has; left out of answers", COMMON),
                ("refrigerant_unlikely", "over three charges added on one visit", COMMON),
                ("money_unlikely", "over 50,000 on one line of a visit", COMMON),
                ("installed_in_future", "installed after the as-of day"),
                ("rating_unlikely", "a rating no small split unit has", COMMON),
                ("unit_in_two_buildings", "the tag stands in two buildings"),
                (
                    "tag_in_two_properties",
                    "the tag stands in two properties: one of the units is lost from the answers",
                ),
                ("part_fits_no_such_unit", "the catalogue says the part doesn't fit this unit"),
                ("quantity_unlikely", "over 20 pieces on one line, or none", COMMON),
                ("implausible_reading", "a reading no such capacitor gives; kept out of drift", COMMON),
                ("zero_not_measured", "a zero nothing supports; kept out of drift", CONTRACT),
                ("call_type_unknown_word", "a call type outside the list; kept as other", CONTRACT),
                ("finding_unknown_word", "a component outside the list; kept as other with its own word", CONTRACT),
                ("outcome_unknown_word", "an outcome outside the list"),
                ("compressor_type_unknown_word", "a compressor type outside the list; kept as unknown"),
                ("why_unknown_word", "a reason outside the list; kept as unknown"),
                ("built from visits", "a unit known from its visits only"),
            ),
            *_rules(
                "duplicate",
                ("same_row", "the same in every column as another record", CONTRACT),
                ("older_version", "came again later, or corrected, with other content", CONTRACT),
            ),
            *_rules(
                "blank",
                ("empty line", "nothing on the line", CONTRACT),
                ("empty row", "nothing in any field", CONTRACT),
                ("repeated header", "the header again", CONTRACT),
                ("totals row", "a totals row, no record", CONTRACT),
                ("above the header", "a title or note above the header"),
            ),
        )
    }
)

ENDINGS: Mapping[str, str] = MappingProxyType(
    {
        "_missing": "a needed column is blank",
        "_not_a_number": "can't be read as a number",
        "_not_money": "can't be read as money",
        "_not_a_date": "can't be read as a date",
        "_not_yes_or_no": "neither yes nor no",
        "_negative": "below zero, where that can't be",
        "_unknown_word": "a word outside the list",
    }
)
"""Rules every column of a kind has, named by the column with this ending."""


def words_of(name: str) -> str:
    """Return what a rule means in plain words, blank where no such rule is known.

    Examples
    --------
    >>> words_of("same_row"), words_of("labor_minutes_not_a_number")
    ('the same in every column as another record', "can't be read as a number")
    """
    if name in RULES:
        return RULES[name].words
    return next((words for ending, words in ENDINGS.items() if name.endswith(ending)), "")
