"""Fill a new snapshot: every source of every load lands, is checked, and becomes clean tables."""

from __future__ import annotations

import datetime as dt
import re
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fleet.errors import SourceError, StoreError
from fleet.ingest.cells import DATED
from fleet.ingest.checks import run_checks
from fleet.ingest.dates import SLASHED, DateOrder, settle_dates
from fleet.ingest.hard_rows import Landed, settle_hard_rows
from fleet.ingest.headers import HeaderPlan, best_table, understand_headers
from fleet.ingest.landing import SHEET, create_landing, land, landing_of
from fleet.ingest.raw import RawTable, ReadError, raw_csv, raw_sqlite
from fleet.ingest.report import LoadReport, read_report
from fleet.ingest.sheet import take_sheets_apart
from fleet.ingest.sources import order_of_reading, sqlite_tables, table_by_name
from fleet.store.database import Database
from fleet.store.schema import TABLES
from fleet.store.snapshots import LoadEntry, Manifest, SourceEntry, Store

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reading:
    """One source table on its way into a snapshot."""

    raw: RawTable
    plan: HeaderPlan
    load: LoadEntry
    sha256: str


def fill(
    database: Database,
    store: Store,
    manifest: Manifest,
    *,
    paths: Mapping[str, Path],
    remarks: Sequence[str] = (),
    scratch: Path,
    progress: Progress,
) -> LoadReport:
    """Fill the snapshot attached to ``database`` from every load of ``manifest``; return the account.

    Parameters
    ----------
    paths : mapping of str to Path
        Where a source lies, by its hash; the others are unpacked from the store.
    remarks : sequence of str
        What was passed over, to be said in the report.

    Raises
    ------
    SourceError
        If a source can't be read as it stands, or the account doesn't add up.
    """
    database.run("create schema log.landing")
    for macros in ("glance", "values", "value_dates", "landing_tables"):
        database.run_file("fleet.ingest", macros)
    database.run("; ".join(create_landing(table) for table in (*TABLES.values(), SHEET)))
    _remark(database, [(0, "passed over", said) for said in remarks])
    landed: list[Landed] = []
    for load in manifest.loads:
        readings = _readings(store, load, paths, scratch)
        if load is manifest.loads[0] and not any(r.plan.table == "visits" for r in readings):
            msg = f"{load.origin} has no visits; a log needs a table of visits (visits.csv)"
            raise SourceError(msg)
        for reading in readings:
            progress(f"reading {reading.raw.name}")
            landed.append(_land(database, reading, len(landed) + 1, scratch))
    orders = [(source.source_id, order) for source in landed for order in source.orders.values()]
    orders += settle_hard_rows(database, landed)
    _remark(database, [(source_id, "date order", order.said) for source_id, order in orders])
    progress("checking")
    if any(source.plan.sheet for source in landed):
        take_sheets_apart(database)
    run_checks(database, as_of=_latest_as_of(manifest))
    for tables in ("clean_places", "clean_buildings", "clean_views"):
        database.run_file("fleet.ingest", tables)
    _remark(database, [(0, "hours", said) for said in _hours_taken(database)])
    report = read_report(database, snapshot=manifest.snapshot, loaded=True)
    for account in report.accounts:
        if not account.balanced:
            msg = f"{account.source}: the account doesn't add up ({account}); nothing was loaded"
            raise SourceError(msg)
    return report


def _readings(store: Store, load: LoadEntry, paths: Mapping[str, Path], scratch: Path) -> list[_Reading]:
    readings = []
    for source in load.sources:
        path = paths.get(source.sha256) or _unpack(store, source, scratch)
        for raw in _raw_tables(source.name, path, scratch):
            table = table_by_name(raw.member or source.name) or best_table(raw.headers)
            if table is None:
                shown = ", ".join(raw.headers[:8])
                msg = f"{raw.name}: neither its name nor its headers say which table it is (headers: {shown})"
                raise SourceError(msg)
            plan = understand_headers(raw.name, table, raw.headers)
            readings.append(_Reading(raw=raw, plan=plan, load=load, sha256=source.sha256))
    return [readings[i] for i in order_of_reading([reading.plan.table for reading in readings])]


def _raw_tables(name: str, path: Path, scratch: Path) -> list[RawTable]:
    with path.open("rb") as stream:
        is_sqlite = stream.read(16).startswith(b"SQLite format 3")
    if is_sqlite:
        return [raw_sqlite(name, path, member) for member, _ in sqlite_tables(path)]
    return [raw_csv(name, path, scratch=scratch)]


def _unpack(store: Store, source: SourceEntry, scratch: Path) -> Path:
    import pyarrow as pa  # only a second load or a rebuild unpacks

    kept = store.sources / f"{source.sha256}.zst"
    if not kept.exists():
        msg = f"the kept copy of {source.name} is missing from {store.sources}; put it back, or load into a new store"
        raise StoreError(msg)
    ending = ".gz" if source.name.lower().endswith(".gz") else ""
    target = scratch / f"{source.sha256}{ending}"
    with pa.CompressedInputStream(pa.OSFile(str(kept)), "zstd") as packed, target.open("wb") as plain:
        shutil.copyfileobj(packed, plain, 1 << 22)
    return target


def _land(database: Database, reading: _Reading, source_id: int, scratch: Path) -> Landed:
    raw, plan = reading.raw, reading.plan
    forced = reading.load.options.get("dates")
    tried = _try_to_land(database, raw, plan, source_id, forced)
    if tried is None and not raw.repaired:
        # the fast reader gave up or lost rows: read again, record by record
        raw = raw.with_repair(scratch)
        tried = _try_to_land(database, raw, plan, source_id, forced)
    if tried is None:
        msg = f"{raw.name}: its records can't be read reliably; export it again as plain CSV"
        raise SourceError(msg)
    orders, n_landed = tried
    _note_source(database, replace(reading, raw=raw), source_id, n_landed)
    return Landed(source_id=source_id, name=raw.name, plan=plan, orders=orders, forced=forced)


def _try_to_land(
    database: Database, raw: RawTable, plan: HeaderPlan, source_id: int, forced: str | None
) -> tuple[dict[str, DateOrder], int] | None:
    """Land a raw table; None, and nothing landed, where its rows can't be read or don't match the count."""
    landing = landing_of(plan, {})
    try:
        slashed, careful = _look_at_sample(raw, plan) if raw.is_large else ([], frozenset())
        orders = settle_dates(database, raw, slashed, forced)
        landing = landing_of(plan, orders)
        n_landed = raw.run(database, land(landing, source_id, careful))
    except ReadError as error:
        if raw.facts is None or raw.repaired:
            msg = f"{raw.name} can't be read ({str(error).splitlines()[0]})"
            raise SourceError(msg) from error
        return None
    if n_landed + len(raw.set_aside) == raw.n_records and raw.counting.result().regular:
        return orders, n_landed
    database.run(f"delete from log.landing.{landing.table.clean_name} where source_id = {source_id}")  # noqa: S608
    return None


def _look_at_sample(raw: RawTable, plan: HeaderPlan) -> tuple[list[tuple[int, str]], frozenset[str]]:
    """Return the date columns written with slashes and the columns a glance mostly can't read, by a sample.

    This decides only how fast a large file is read: what a glance leaves unread is read again in any case.
    """
    rows = raw.sample()
    slashed, careful = [], set()
    for position, column in plan.columns:
        filled = [row[position] for row in rows if row[position].strip()]
        if column.kind in DATED and sum(bool(re.match(SLASHED, cell)) for cell in filled) > len(filled) / 2:
            slashed.append((position, column.name))
        elif column.kind in GLANCED:
            strange = sum(not GLANCED[column.kind].fullmatch(cell) for cell in filled)
            careful |= {column.name} if strange * 20 > len(rows) else set()
    return slashed, frozenset(careful)


GLANCED: Mapping[str, re.Pattern[str]] = {
    "number": re.compile(r"[+-]?\d*\.?\d+"),
    "money": re.compile(r"[+-]?\d*\.?\d+"),
    "yesno": re.compile(r"yes|no|y|n|true|false|1|0", re.IGNORECASE),
    "date": re.compile(r"\d{4}-\d\d?-\d\d?.{0,9}"),
    "datetime": re.compile(r"\d{4}-\d\d?-\d\d?.{0,9}"),
}
"""What a glance reads, roughly."""


def _note_source(database: Database, reading: _Reading, source_id: int, n_landed: int) -> None:
    raw, plan = reading.raw, reading.plan
    landing = f"log.landing.{(SHEET if plan.sheet else TABLES[plan.table]).clean_name}"
    database.run(
        "insert into log.landing.source values (?, ?, ?, ?, ?, ?, ?, ?, "  # noqa: S608
        f"(select coalesce(max(rowid), -1) + 1 - $8 from {landing}), ?, ?, ?)".replace("$8", str(n_landed)),
        [
            source_id, reading.load.number, raw.source, raw.member, plan.table, reading.sha256,
            raw.n_records, n_landed, plan.sheet, [column.name for _, column in plan.columns], raw.repaired,
        ],
    )  # fmt: skip
    for aside in raw.set_aside:
        database.run(
            "insert into log.landing.set_aside values (?, ?, ?, ?, ?)",
            [source_id, aside.record, "blank" if aside.blank else "quarantined", aside.reason, aside.text],
        )
    said = "{}: the column {!r} isn't understood; it stays in the kept source"
    _remark(database, [(source_id, "header", said.format(raw.name, header)) for header in plan.not_understood])


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
