"""Load a log: files -> landing -> clean tables or quarantine, as one new snapshot or none."""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pyarrow as pa

from fleet.errors import SourceError
from fleet.ingest.checks import run_checks
from fleet.ingest.csv_bytes import hash_file
from fleet.ingest.dates import settle_dates
from fleet.ingest.headers import HeaderPlan, best_table, understand_headers
from fleet.ingest.landing import create_landing, land
from fleet.ingest.raw import RawTable, ReadError, raw_csv, raw_sqlite
from fleet.ingest.report import LoadReport, read_report
from fleet.ingest.sources import SourceFile, discover, order_of_reading, sqlite_tables, table_by_name
from fleet.store.database import Database
from fleet.store.schema import TABLES
from fleet.store.snapshots import FORMAT, LoadEntry, Manifest, SourceEntry, Store

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadOptions:
    """What the user may say of a log: the order of day and month, and the day after which dates are future."""

    dates: str | None = None
    as_of: dt.date | None = None

    def to_plain(self) -> dict[str, Any]:
        """Return the options as the manifest keeps them."""
        return {"dates": self.dates, "as_of": self.as_of.isoformat() if self.as_of else None}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reading:
    """One source table on its way into a snapshot."""

    raw: RawTable
    plan: HeaderPlan
    load: LoadEntry
    sha256: str


def load_log(
    path: Path,
    store: Store,
    *,
    loaded_on: dt.date,
    options: LoadOptions | None = None,
    progress: Progress = lambda _: None,
) -> LoadReport:
    """Load the log at ``path`` into ``store`` beside what was loaded before.

    Parameters
    ----------
    path : Path
        A folder of CSV files, one CSV file, or one SQLite file.
    loaded_on : datetime.date
        The day of the load; kept, so that a rebuild knows what was future then.
    options : LoadOptions
        The order of day and month, and the as-of day.
    progress : callable
        Told in a few words what is being done.

    Returns
    -------
    LoadReport
        The account of every record; ``loaded`` is False where the same files and options were loaded before.

    Raises
    ------
    SourceError
        If the log can't be read as it stands; the store is untouched.
    StoreError
        If another load is running or the store can't be read.
    """
    options = options or LoadOptions()
    found = discover(path)
    with store.lock():
        before = store.manifest()
        entry, passed = _entry(before, found.files, path, loaded_on, options, progress)
        if entry is None:
            with store.open() as database:
                return read_report(database, snapshot=before.snapshot, loaded=False)
        manifest = Manifest(loads=(*before.loads, entry))
        remarks = tuple(
            f"passed over in {path.name}: {name} (not a CSV file)" for name in (*found.passed_over, *passed)
        )
        paths = {source.sha256: file.path for source, file in zip(entry.sources, found.files, strict=True)}
        name, report = _build(store, manifest, paths, remarks, progress)
        progress("keeping a compressed copy of the sources")
        for source in entry.sources:
            keep_source(store, source, paths[source.sha256])
        store.publish(replace(manifest, snapshot=name, snapshot_format=FORMAT))
        return report


def rebuild(store: Store, *, progress: Progress = lambda _: None) -> LoadReport:
    """Build the snapshot again from the kept sources; the answers stay the same.

    Raises
    ------
    StoreError
        If a kept source is missing.
    """
    with store.lock():
        manifest = store.manifest()
        name, report = _build(store, manifest, {}, (), progress)
        store.publish(replace(manifest, snapshot=name, snapshot_format=FORMAT))
        return report


def keep_source(store: Store, source: SourceEntry, path: Path) -> None:
    """Keep a compressed copy of a loaded file, named by its content's hash."""
    kept = store.sources / f"{source.sha256}.zst"
    if kept.exists():
        return
    store.sources.mkdir(parents=True, exist_ok=True)
    draft = kept.with_suffix(".draft")
    with path.open("rb") as plain, pa.CompressedOutputStream(str(draft), "zstd") as packed:
        shutil.copyfileobj(plain, packed, 1 << 22)
    draft.replace(kept)


def _entry(
    before: Manifest,
    files: tuple[SourceFile, ...],
    path: Path,
    loaded_on: dt.date,
    options: LoadOptions,
    progress: Progress,
) -> tuple[LoadEntry | None, tuple[str, ...]]:
    """Return the manifest's new line, None where the same files with the same options are there already."""
    progress("looking over the files")
    sources = tuple(
        SourceEntry(name=file.name, sha256=hash_file(file.path), n_bytes=file.path.stat().st_size) for file in files
    )
    plain = options.to_plain()
    if before.snapshot and any(load.sources == sources and load.options == plain for load in before.loads):
        return None, ()
    number = max((load.number for load in before.loads), default=0) + 1
    entry = LoadEntry(number=number, loaded_on=loaded_on.isoformat(), origin=path.name, options=plain, sources=sources)
    return entry, ()


def _build(
    store: Store, manifest: Manifest, paths: Mapping[str, Path], remarks: tuple[str, ...], progress: Progress
) -> tuple[str, LoadReport]:
    """Build a new snapshot from all loads of ``manifest``; on any failure no file is left behind."""
    name = store.new_snapshot_name()
    target = store.snapshot_path(name)
    store.spill.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=store.spill) as scratch:
        database = Database.build(target, spill=store.spill)
        try:
            report = _fill(database, store, manifest, paths, remarks, Path(scratch), progress, name)
            database.finish()
        except BaseException:
            database.close()
            target.unlink(missing_ok=True)
            target.with_name(target.name + ".wal").unlink(missing_ok=True)
            raise
    return name, report


def _fill(
    database: Database, store: Store, manifest: Manifest, paths: Mapping[str, Path],
    remarks: tuple[str, ...], scratch: Path, progress: Progress, name: str,
) -> LoadReport:  # fmt: skip
    database.run("create schema log.landing")
    database.run_file("fleet.ingest", "values")
    database.run_file("fleet.ingest", "landing_tables")
    for table in TABLES.values():
        database.run(create_landing(table))
    for said in remarks:
        _remark(database, 0, "passed over", said)
    source_id = 0
    for load in manifest.loads:
        readings = _readings(store, load, paths, scratch, database)
        if load is manifest.loads[0] and not any(r.plan.table == "visits" for r in readings):
            msg = f"{load.origin} has no visits; a log needs a table of visits (visits.csv)"
            raise SourceError(msg)
        for reading in readings:
            source_id += 1
            progress(f"reading {reading.raw.name} ({reading.raw.n_records:,} records)")
            _land(database, reading, source_id, scratch)
    progress("checking")
    run_checks(database, as_of=_latest_as_of(manifest))
    database.run_file("fleet.ingest", "clean_views")
    report = read_report(database, snapshot=name, loaded=True)
    unbalanced = [account for account in report.accounts if not account.balanced]
    if unbalanced:
        first = unbalanced[0]
        msg = f"{first.source}: the account doesn't add up ({first}); nothing was loaded"
        raise SourceError(msg)
    return report


def _readings(
    store: Store, load: LoadEntry, paths: Mapping[str, Path], scratch: Path, database: Database
) -> list[_Reading]:
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
    kept = store.sources / f"{source.sha256}.zst"
    if not kept.exists():
        msg = f"the kept copy of {source.name} is missing from {store.sources}; load the file again"
        raise SourceError(msg)
    ending = ".gz" if source.name.lower().endswith(".gz") else ""
    target = scratch / f"{source.sha256}{ending}"
    with pa.CompressedInputStream(pa.OSFile(str(kept)), "zstd") as packed, target.open("wb") as plain:
        shutil.copyfileobj(packed, plain, 1 << 22)
    return target


def _land(database: Database, reading: _Reading, source_id: int, scratch: Path) -> None:
    raw, plan = reading.raw, reading.plan
    landing = f"log.landing.{TABLES[plan.table].clean_name}"
    dated = [(position, column.name) for position, column in plan.columns if column.kind in ("date", "datetime")]
    first_place = int(database.value(f"select coalesce(max(rowid) + 1, 0) from {landing}"))  # noqa: S608
    orders = {}
    for attempt in (raw, raw.with_repair(scratch) if not raw.repaired else None):
        if attempt is None:
            msg = f"{raw.name}: its records can't be read reliably; export it again as plain CSV"
            raise SourceError(msg)
        try:
            orders = settle_dates(database, attempt, dated, reading.load.options.get("dates"))
            attempt.run(database, land(plan, orders, source_id))
        except ReadError as error:
            if attempt.repaired or attempt.facts is None:
                msg = f"{raw.name} can't be read ({str(error).splitlines()[0]})"
                raise SourceError(msg) from error
            continue
        landed = int(database.value(f"select count(*) from {landing} where source_id = {source_id}"))  # noqa: S608
        if landed + len(attempt.set_aside) == attempt.n_records:
            _note_source(database, reading, attempt, source_id, first_place, landed)
            break
        # rows went missing in the fast reader: take them back out and read again, record by record
        database.run(f"delete from {landing} where source_id = {source_id}")  # noqa: S608
    for order in orders.values():
        if order.said:
            _remark(database, source_id, "date order", order.said)


def _note_source(
    database: Database, reading: _Reading, raw: RawTable, source_id: int, first_place: int, landed: int
) -> None:
    plan = reading.plan
    database.run(
        "insert into log.landing.source values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            source_id, reading.load.number, raw.source, raw.member, plan.table, reading.sha256,
            raw.n_records, landed, first_place, plan.sheet,
            [column.name for _, column in plan.columns], raw.repaired,
        ],
    )  # fmt: skip
    for aside in raw.set_aside:
        database.run(
            "insert into log.landing.set_aside values (?, ?, ?, ?, ?)",
            [source_id, aside.record, "blank" if aside.blank else "quarantined", aside.reason, aside.text],
        )
    for header in plan.not_understood:
        _remark(
            database,
            source_id,
            "header",
            f"{raw.name}: the column {header!r} isn't understood; it stays in the kept source",
        )


def _remark(database: Database, source_id: int, kind: str, said: str) -> None:
    database.run("insert into log.landing.remark values (?, ?, ?)", [source_id, kind, said])


def _latest_as_of(manifest: Manifest) -> dt.date:
    """Return the day after which a visit lies in the future: the latest of the loads' as-of days."""
    return max(dt.date.fromisoformat(load.options.get("as_of") or load.loaded_on) for load in manifest.loads)
