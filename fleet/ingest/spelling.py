"""Tags, buildings, parts and people spelled several ways: merged by one stated rule, or as the user said.

The rule: case, spaces, punctuation and leading zeros don't tell two names apart, but what stands between two numbers
does (``1-12`` isn't ``11-2``). A name of the table that defines it (units of the equipment table, parts of the
catalogue) is never changed; where nothing defines a name, the spelling used most often holds. Every changed record
says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from fleet.ingest.landing import SHEET
from fleet.ingest.mapping import LogMapping, plain_written
from fleet.store.database import Database
from fleet.store.schema import TABLES, Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Names:
    """Columns that hold one kind of name: ``defined_in`` (table, column), and the columns that use it.

    ``within_property`` keeps names of different properties apart.
    """

    rule: str
    defined_in: tuple[str, str] | None
    used_in: tuple[tuple[str, str], ...]
    within_property: bool = False
    merges_defined: bool = False


PROPERTY_TABLES = ("equipment", "sheet", "stock", "weather", "coverage", "properties", "buildings")

NAMES = (
    Names(
        rule="property_spelling", defined_in=("equipment", "property"), merges_defined=True,
        used_in=tuple((table, "property") for table in PROPERTY_TABLES[1:]),
    ),
    Names(
        rule="building_spelling", defined_in=("equipment", "building"), merges_defined=True, within_property=True,
        used_in=(("sheet", "building"), ("buildings", "building"), ("stock", "location")),
    ),
    Names(
        rule="tag_spelling", defined_in=("equipment", "equipment_id"),
        used_in=(("visits", "equipment_id"), ("sheet", "equipment_id"), ("occupancy", "equipment_id")),
    ),
    Names(
        rule="part_spelling", defined_in=("catalogue", "part_no"),
        used_in=(("parts_used", "part_no"), ("sheet", "part_no"), ("stock", "part_no")),
    ),
    Names(rule="family_spelling", defined_in=None, used_in=(("equipment", "model_family"), ("sheet", "model_family"))),
    Names(rule="technician_spelling", defined_in=None, used_in=(("visits", "technician"), ("sheet", "technician"))),
    Names(rule="vendor_spelling", defined_in=None, used_in=(("visits", "vendor"), ("sheet", "vendor"))),
    Names(rule="meter_spelling", defined_in=None, used_in=(("readings", "meter"), ("sheet", "meter"))),
)  # fmt: skip


def say_the_same(database: Database, mappings: Iterable[LogMapping]) -> None:
    """Give names the user called the same in a mapping their one spelling, in every table that has the column."""
    for mapping in mappings:
        for table in (*TABLES.values(), SHEET):
            for column in table.columns:
                if column.kind == "tag" and (kept := mapping.kept(table.name, column.name)):
                    _rename(database, table, column.name, kept)


def _rename(database: Database, table: Table, column: str, kept: Mapping[str, str]) -> None:
    landing = f"log.landing.{table.clean_name}"
    names = database.rows(f"select distinct {column} from {landing} where {column} is not null")  # noqa: S608
    meant = {name: kept[plain_written(name)] for (name,) in names if plain_written(name) in kept}
    meant = {name: keep for name, keep in meant.items() if name != keep}
    if meant:
        database.run(
            f"update {landing} as l set {column} = m.keep, notice = concat_ws(' | ', l.notice, "  # noqa: S608
            "'said_the_same: ' || m.name || ' read as ' || m.keep) from "
            "(select unnest($names::varchar[]) as name, unnest($keeps::varchar[]) as keep) as m "
            f"where l.standing is null and l.{column} = m.name",
            {"names": list(meant), "keeps": list(meant.values())},
        )


def settle_spellings(database: Database) -> list[str]:
    """Merge the spellings of every kind of name; return, said aloud, the names left apart that may be the same."""
    said = take_off_zeros(database)
    database.run_file("fleet.ingest", "names")
    for names in NAMES:
        alike = merge_spellings(database, names)
        column = names.defined_in[1] if names.defined_in else ""
        shown = ", ".join(f"{a!r} and {b!r}" for a, b in alike[:5]) + (" …" if len(alike) > 5 else "")
        if alike:
            apart = f"pair of {column} differs" if len(alike) == 1 else f"pairs of {column} differ"
            kept = "is" if len(alike) == 1 else "are"
            said.append(
                f"{len(alike)} {apart} only in case, spaces, punctuation or zeros and {kept} kept apart: "
                f"{shown}; if they are the same, say so in a mapping ([[same]])"
            )
    return said


NUMBERED = ("visit_id", "equipment_id", "building", "apartment")
"""Names that are often numbers: a program that takes them for measurements writes 12 as 12.0."""
FIRST = 1000
"""Records of a file from its beginning that tell whether the rest is worth a look."""


def take_off_zeros(database: Database) -> list[str]:
    """Take ``.0`` off the names of every column of a file in which each name is a whole number written so; say it."""
    said = []
    sources = database.rows("select source_id, name, member, landed_in, first_place from log.landing.source order by 1")
    for source_id, name, member, landed_in, first_place in sources:
        landing = f"log.landing.{landed_in}"
        own = {column.name for column in _LANDED[landed_in].columns}
        # a corrected record may have been written without it
        mine = f"from {landing} where source_id = {int(source_id)} and counted_in is null and standing is null"
        for column in (column for column in NUMBERED if column in own):
            asked = f"select bool_and(suffix({column}, '.0')) {mine} and rowid"
            if not database.value(f"{asked} between {first_place} and {first_place + FIRST - 1}"):
                continue
            whole = f"regexp_full_match({column}, '[0-9]+\\.0')"
            if database.value(f"select bool_and({whole}) and count({column}) > 1 {mine}"):
                database.run(
                    f"update {landing} set {column} = {column}[:-3] where source_id = {int(source_id)} and {whole}"  # noqa: S608
                )
                shown = f"{name}:{member}" if member else name
                said.append(f"{shown}: every {column} is a number written like 12.0; read as 12")
    return said


_LANDED = {table.clean_name: table for table in (*TABLES.values(), SHEET)}


def merge_spellings(database: Database, names: Names) -> list[tuple[str, str]]:
    """Merge the spellings of one kind of name; return pairs of defined names that differ by the rule alone."""
    columns = ([names.defined_in] if names.defined_in else []) + list(names.used_in)
    counted = " union all ".join(_counted(names, table, column) for table, column in columns)
    # a tag of the equipment table is left alone; a building is spelled there by hand and merged with its likes
    merges = "true" if names.merges_defined or not names.defined_in else "false"
    database.run(
        "create or replace table memory.main.spelled as select place, name, plain_name(name) as plain, "  # noqa: S608
        f"bool_or(defined) as defined, sum(n) as n, {merges} as merges from ({counted}) group by all"
    )
    if not database.value("select count(*) > count(distinct (place, plain)) from memory.main.spelled"):
        return []
    database.run_file("fleet.ingest", "spellings")
    for table, column in columns:
        database.run(_respelled(names, table, column))
    return [(a, b) for a, b in database.rows("from memory.main.spelled_alike order by all")]


def _landing(table: str) -> str:
    return SHEET.clean_name if table == "sheet" else TABLES[table].clean_name


def _place(names: Names, table: str) -> str:
    return "coalesce(property, '')" if names.within_property and table in PROPERTY_TABLES else "''"


def _counted(names: Names, table: str, column: str) -> str:
    defined = "true" if names.defined_in == (table, column) else "false"
    return (
        f"select {_place(names, table)} as place, {column} as name, {defined} as defined, count(*) as n "  # noqa: S608
        f"from log.landing.{_landing(table)} where standing is null and {column} is not null group by all"
    )


def _respelled(names: Names, table: str, column: str) -> str:
    said = f"'{names.rule}: ' || m.name || ' read as ' || m.meant"
    return (
        f"update log.landing.{_landing(table)} as l set {column} = m.meant, "  # noqa: S608
        f"notice = concat_ws(' | ', l.notice, {said}) from memory.main.spelling as m "
        f"where l.standing is null and l.{column} = m.name and {_place(names, table)} = m.place"
    )
