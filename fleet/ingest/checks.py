"""Every check on loaded records, in order, each by its name.

The SQL of the checks lies beside this module in ``sql/check_*.sql``; a rule sets a record's standing (refused) or
adds a notice (kept, changed or flagged). To add a rule, write it there under its name and test it by that name.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from fleet.ingest.care import make_macros
from fleet.ingest.cells import WORDY
from fleet.ingest.mapping import LogMapping, plain_written
from fleet.ingest.sheet import settle_further_rows
from fleet.ingest.versions import EQUALS, KEYED, SETS, keep_latest, keep_latest_set, keep_one_of_equal
from fleet.ingest.words import DEFAULTS, REFUSES_UNKNOWN, understand_word
from fleet.store.database import Database, literal
from fleet.store.schema import TABLES, Column, Table


def run_checks(database: Database, *, as_of: dt.date, mappings: Sequence[LogMapping] = ()) -> None:
    """Judge every landed record.

    Parameters
    ----------
    as_of : datetime.date
        The day after which a visit lies in the future.
    mappings : sequence of LogMapping
        What the user said of words of the log's own.
    """
    settle_words(database, mappings)
    tags_known = bool(
        database.value(
            "select count(*) > 0 from log.landing.equipment where notice is distinct from 'built from visits'"
        )
    )
    database.run("create or replace table memory.main.load_settings (as_of date, tags_known boolean)")
    database.run("insert into memory.main.load_settings values (?, ?)", [as_of, tags_known])
    database.run_file("fleet.ingest", "check_equipment")
    database.run_file("fleet.ingest", "check_visits")
    if database.value("select count(*) from memory.main.stray_tag"):
        database.run_file("fleet.ingest", "check_tags")
    for table in KEYED:
        keep_latest(database, table)
    if database.value("select bool_or(is_sheet) from log.landing.source"):
        settle_further_rows(database)
    if not tags_known:
        database.run_file("fleet.ingest", "equipment_from_visits")
        said = "no equipment table came: units never visited are missing, so rates read high"
        database.run("insert into log.landing.remark values (0, 'built', ?)", [said])
    for checks in ("check_homes", "check_times", "check_service", "check_children"):
        database.run_file("fleet.ingest", checks)
    for table in SETS:
        keep_latest_set(database, table)
    for table in EQUALS:
        keep_one_of_equal(database, table)
    database.run_file("fleet.ingest", "check_parts")
    if database.value("select count(*) from log.landing.reading"):
        _plain_units(database)
        database.run_file("fleet.ingest", "check_readings")
        database.run_file("fleet.ingest", "check_zeros")


def _plain_units(database: Database) -> None:
    """Give units of capacitance one spelling each, where some cell spells one its own way."""
    strange = "unit is not null and unit not in ('uF', 'nF', 'pF', 'mF', 'F')"
    if database.value(f"select count(*) from log.landing.reading where {strange}"):  # noqa: S608
        make_macros(database, "plain_unit(unit)")
        database.run(
            f"update log.landing.reading as r set unit = m.plain from (select distinct unit, plain_unit(unit) as plain "  # noqa: S608
            f"from log.landing.reading where {strange}) as m where r.unit = m.unit and r.unit <> m.plain"
        )


def settle_words(database: Database, mappings: Sequence[LogMapping] = ()) -> None:
    """Turn what people wrote into the contract's words; an unknown word is flagged, or refuses a reading."""
    asked = [(table, column) for table in TABLES.values() for column in table.columns if column.kind in WORDY]
    distinct = " union all ".join(
        f"select {i}, {column.name} from (select distinct {column.name} from log.landing.{table.clean_name})"  # noqa: S608
        for i, (table, column) in enumerate(asked)
    )
    written: dict[int, list[str]] = {}
    for i, word in database.rows(f"select * from ({distinct}) as words(i, word) where word is not null order by all"):  # noqa: S608
        written.setdefault(i, []).append(word)
    for i, words in written.items():
        table, column = asked[i]
        said = {
            word: means for mapping in mappings for word, means in mapping.meanings(table.name, column.name).items()
        }
        meant = {word: said.get(plain_written(word)) or understand_word(column, word) for word in words}
        if any(word != meaning for word, meaning in meant.items()):
            _translate(database, table, column, meant)


def _translate(database: Database, table: Table, column: Column, meant: Mapping[str, str | None]) -> None:
    """Write the contract's word for each written one; keep an unknown word beside its column and flag it."""
    default = "other" if column.kind == "component" else DEFAULTS.get(column.name)
    refuses = table.name == "readings" and column.name in REFUSES_UNKNOWN
    changed = {word: meaning for word, meaning in meant.items() if word != meaning}
    database.run("create or replace table memory.main.word_meant (written varchar, meant varchar, known boolean)")
    database.run(
        "insert into memory.main.word_meant select unnest(?), unnest(?), unnest(?)",
        [
            list(changed),
            [default if meaning is None else meaning for meaning in changed.values()],
            [meaning is not None for meaning in changed.values()],
        ],
    )
    rule = f"{column.name}_unknown_word"
    unknown = (
        f"standing = case when m.known then l.standing else coalesce(l.standing, 'quarantined') end, reason = case "
        f"when m.known or l.standing = 'blank' then l.reason else concat_ws('; ', l.reason, {literal(rule)}) end"
        if refuses
        else f"notice = case when m.known then l.notice "
        f"else concat_ws(' | ', l.notice, {literal(rule + ': ')} || l.{column.name}) end"
    )
    database.run(
        f"update log.landing.{table.clean_name} as l set {column.name} = m.meant, "  # noqa: S608
        f"{column.name}_word = case when not m.known then l.{column.name} end, {unknown} "
        f"from memory.main.word_meant as m where l.{column.name} = m.written"
    )
