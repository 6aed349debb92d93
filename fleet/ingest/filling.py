"""Fill a new snapshot: every source of every load lands, is checked, and becomes clean tables."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from fleet.errors import SourceError
from fleet.ingest.checks import run_checks
from fleet.ingest.corrections import note_corrections, replace_refused
from fleet.ingest.decimal_columns import settle_decimals
from fleet.ingest.hard_rows import settle_hard_rows
from fleet.ingest.landed import Landed
from fleet.ingest.landing import SHEET, create_landing, landing_table
from fleet.ingest.opening import Opener, Reading, mapping_of
from fleet.ingest.putting_down import put_down
from fleet.ingest.report import LoadReport, read_report
from fleet.ingest.sheet import take_sheets_apart
from fleet.ingest.spelling import say_the_same, settle_spellings
from fleet.store.database import Database
from fleet.store.schema import TABLES
from fleet.store.snapshots import Manifest, Store

Progress = Callable[[str], None]


def fill(
    database: Database,
    store: Store,
    manifest: Manifest,
    *,
    paths: Mapping[str, Path],
    scratch: Path,
    progress: Progress,
) -> LoadReport:
    """Fill the snapshot attached to ``database`` from every load of ``manifest``; return the account.

    Parameters
    ----------
    paths : mapping of str to Path
        Where a source lies, by its hash; the others are unpacked from the store.

    Raises
    ------
    SourceError
        If a source can't be read as it stands, or the account doesn't add up.
    """
    database.run("create schema log.landing")
    for macros in ("glance", "landing_tables"):
        database.run_file("fleet.ingest", macros)
    database.run("; ".join(create_landing(table) for table in (*TABLES.values(), SHEET)))
    landed = _land_all(database, Opener(store, paths, scratch), manifest, progress)
    if not any(source.plan.table == "visits" for source in landed):
        msg = f"{manifest.loads[0].origin} has no visits; a log needs a table of visits (visits.csv)"
        raise SourceError(msg)
    landed, decimals = settle_decimals(database, landed, scratch)
    _remark(database, [(source_id, "decimal mark", mark.said) for source_id, mark in decimals])
    orders = [(source.source_id, order) for source in landed for order in source.conventions.orders.values()]
    orders += settle_hard_rows(database, landed)
    _remark(database, [(source_id, "date order", order.said) for source_id, order in orders])
    progress("checking")
    replace_refused(database)
    mappings = [mapping for load in manifest.loads if (mapping := mapping_of(load))]
    say_the_same(database, mappings)
    _remark(database, [(0, "spelling", said) for said in settle_spellings(database)])
    if any(source.plan.sheet for source in landed):
        take_sheets_apart(database)
    run_checks(database, as_of=_latest_as_of(manifest), mappings=mappings)
    for tables in ("clean_places", "clean_buildings", "clean_views"):
        database.run_file("fleet.ingest", tables)
    _remark(database, [(0, "hours", said) for said in _hours_taken(database)])
    report = read_report(database, data_version=manifest.data_version, loaded=True)
    for account in report.accounts:
        if not account.balanced:
            msg = f"{account.source}: the account doesn't add up ({account}); nothing was loaded"
            raise SourceError(msg)
    return report


def _land_all(database: Database, opener: Opener, manifest: Manifest, progress: Progress) -> list[Landed]:
    landed: list[Landed] = []
    for load in manifest.loads:
        _remark(database, [(0, "passed over", said) for said in load.passed_over])
        for reading in opener.open(database, load, landed):
            progress(f"reading {reading.raw.name}")
            landed.append(_land(database, reading, len(landed) + 1, opener.scratch))
        _remark(database, [(0, "passed over", said) for said in opener.passed_over])
    return landed


def _land(database: Database, reading: Reading, source_id: int, scratch: Path) -> Landed:
    corrected = reading.corrected
    origin = corrected.origin if corrected else None
    asked = Landed(
        source_id=source_id, lands_as=origin.lands_as if origin else source_id, raw=reading.raw, plan=reading.plan,
        sha256=reading.sha256, forced=reading.forced, decimal=reading.decimal, conventions=reading.conventions,
    )  # fmt: skip
    landed, n_landed = put_down(database, asked, scratch)
    _note_source(database, landed, reading.load.number, n_landed)
    if corrected:
        note_corrections(database, source_id, replace(corrected, raw=landed.raw))
    return landed


def _note_source(database: Database, landed: Landed, load_number: int, n_landed: int) -> None:
    raw, plan = landed.raw, landed.plan
    landed_in = landing_table(plan).clean_name
    database.run(
        "insert into log.landing.source select ?, ?, ?, ?, ?, ?, ?, ?, ?, "  # noqa: S608
        f"coalesce(max(rowid), -1) + 1 - {n_landed}, ?, ?, ?, ?, ? from log.landing.{landed_in}",
        [
            landed.source_id, load_number, raw.source, raw.member, plan.table, landed_in, landed.sha256,
            raw.n_records, n_landed, plan.sheet, [column.name for _, column in plan.columns], list(plan.headers),
            raw.repaired, raw.delimiter,
        ],
    )  # fmt: skip
    if raw.set_aside:
        asides = [(a.record, "blank" if a.blank else "quarantined", a.reason, a.text) for a in raw.set_aside]
        # row by row would cost a millisecond each, and a broken file may have a million
        database.run(
            "insert into log.landing.set_aside select ?, unnest(?::bigint[]), unnest(?::varchar[]), "
            "unnest(?::varchar[]), unnest(?::varchar[])",
            [landed.source_id, *(list(column) for column in zip(*asides, strict=True))],
        )
    if landed.counted_in is None:
        said = "{}: the column {!r} isn't understood; it stays in the kept source"
        _remark(database, [(landed.source_id, "header", said.format(raw.name, h)) for h in plan.not_understood])
        said = "{}: the mapping names a column {!r} that isn't there"
        _remark(database, [(landed.source_id, "header", said.format(raw.name, h)) for h in plan.not_found])


def _remark(database: Database, remarks: Sequence[tuple[int, str, str]]) -> None:
    for source_id, kind, said in remarks:
        if said:
            database.run("insert into log.landing.remark values (?, ?, ?)", [source_id, kind, said])


def _hours_taken(database: Database) -> list[str]:
    """Return, said aloud, whose working hours had to be taken for the usual ones."""
    if not database.value("select count(*) from log.landing.visit where standing is null and after_hours is null"):
        return []
    names = [
        name for (name,) in database.rows("select property from log.clean.property where not hours_given order by 1")
    ]
    if not names:
        return []
    whose = f" of {', '.join(names[:3])}" if names[0] else ""
    more = f" and {len(names) - 3} more properties" if len(names) > 3 else ""
    return [f"working hours{whose}{more} aren't given: mon-fri 8:00-17:00 is taken to tell night calls"]


def _latest_as_of(manifest: Manifest) -> dt.date:
    """Return the day after which a visit lies in the future: the latest of the loads' as-of days."""
    return max(dt.date.fromisoformat(load.options.get("as_of") or load.loaded_on) for load in manifest.loads)
