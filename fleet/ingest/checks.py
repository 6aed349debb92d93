"""Every check on loaded records, in order, each by its name.

The SQL of the checks lies beside this module in ``sql/check_*.sql``; a rule sets a record's standing (refused) or
adds a notice (kept, changed or flagged). To add a rule, write it there under its name and test it by that name.
"""

from __future__ import annotations

import datetime as dt

from fleet.ingest.versions import EQUALS, KEYED, SETS, keep_latest, keep_latest_set, keep_one_of_equal
from fleet.ingest.words import DEFAULTS, REFUSES_UNKNOWN, understand_word
from fleet.store.database import Database, literal
from fleet.store.schema import TABLES, Column, Table


def run_checks(database: Database, *, as_of: dt.date) -> None:
    """Judge every landed record; ``as_of`` is the day after which a visit lies in the future."""
    for table in TABLES.values():
        for column in table.columns:
            if column.kind in ("word", "component"):
                _settle_words(database, table, column)
    tags_known = bool(database.value("select count(*) > 0 from log.landing.equipment"))
    database.run("create or replace table memory.main.load_settings (as_of date, tags_known boolean)")
    database.run("insert into memory.main.load_settings values (?, ?)", [as_of, tags_known])
    database.run_file("fleet.ingest", "check_equipment")
    database.run_file("fleet.ingest", "check_visits")
    for table in KEYED:
        keep_latest(database, table)
    if not tags_known:
        database.run_file("fleet.ingest", "equipment_from_visits")
        said = "no equipment table came: units never visited are missing, so rates read high"
        database.run("insert into log.landing.remark values (0, 'built', ?)", [said])
    database.run_file("fleet.ingest", "check_children")
    for table in SETS:
        keep_latest_set(database, table)
    for table in EQUALS:
        keep_one_of_equal(database, table)
    database.run_file("fleet.ingest", "check_readings")
    for table in TABLES.values():
        _keep_text(database, table)


def _keep_text(database: Database, table: Table) -> None:
    """Keep the content of records refused, doubled or flagged after landing; their own text is in the kept source."""
    fields = ", ".join(f"'{column.name}', {column.name}::varchar" for column in table.columns)
    database.run(
        f"update log.landing.{table.clean_name} set raw = json_object({fields})::varchar "  # noqa: S608
        "where raw is null and (standing is not null or notice is not null)"
    )


def _settle_words(database: Database, table: Table, column: Column) -> None:
    """Turn what people wrote into the contract's words; an unknown word is flagged, or refuses a reading."""
    landing, word = f"log.landing.{table.clean_name}", f"{column.name}_word"
    written = [row[0] for row in database.rows(f"select distinct {word} from {landing} where {word} is not null")]  # noqa: S608
    for text in written:
        meant = understand_word(column, text)
        if meant is not None:
            database.run(f"update {landing} set {column.name} = ?, {word} = null where {word} = ?", [meant, text])  # noqa: S608
            continue
        rule = f"{column.name}_unknown_word"
        if table.name == "readings" and column.name in REFUSES_UNKNOWN:
            database.run(
                f"update {landing} set standing = 'quarantined', reason = concat_ws('; ', reason, {literal(rule)}) "  # noqa: S608
                f"where {word} = ? and coalesce(standing, 'quarantined') = 'quarantined'",
                [text],
            )
            continue
        default = "other" if column.kind == "component" else DEFAULTS.get(column.name)
        database.run(
            f"update {landing} set {column.name} = ?, "  # noqa: S608
            f"notice = concat_ws(' | ', notice, {literal(rule + ': ')} || ?) where {word} = ?",
            [default, text, text],
        )
