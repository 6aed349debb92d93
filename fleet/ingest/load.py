"""Load a log: files -> landing -> clean tables or quarantine, as one new snapshot or none."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fleet.errors import StoreError
from fleet.ingest.csv_bytes import hash_file
from fleet.ingest.filling import Progress, fill
from fleet.ingest.report import LoadReport, read_report
from fleet.ingest.sources import SourceFile, discover
from fleet.store.database import Database
from fleet.store.snapshots import FORMAT, LoadEntry, Manifest, SourceEntry, Store


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadOptions:
    """What the user may say of a log: the order of day and month, and the day after which dates are future."""

    dates: str | None = None
    as_of: dt.date | None = None

    def to_plain(self) -> dict[str, Any]:
        """Return the options as the manifest keeps them."""
        return {"dates": self.dates, "as_of": self.as_of.isoformat() if self.as_of else None}


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
        entry = _entry(before, found.files, path, loaded_on, options, progress)
        if entry is None:
            with store.open() as database:
                return read_report(database, snapshot=before.snapshot, loaded=False)
        manifest = Manifest(loads=(*before.loads, entry))
        remarks = _passed_over(path, found.passed_over)
        paths = {source.sha256: file.path for source, file in zip(entry.sources, found.files, strict=True)}
        name, report = _build(store, manifest, paths, remarks, progress)
        progress("keeping a compressed copy of the sources")
        for source in entry.sources:
            keep_source(store, source, paths[source.sha256])
        store.publish(replace(manifest, snapshot=name, snapshot_format=FORMAT))
        return report


def _passed_over(path: Path, names: tuple[str, ...]) -> tuple[str, ...]:
    """Say in one sentence which files of the folder are no CSV files."""
    if not names:
        return ()
    shown = ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
    return (f"passed over in {path.name}: {shown} (no CSV {'files' if len(names) > 1 else 'file'})",)


def rebuild(store: Store, *, progress: Progress = lambda _: None) -> LoadReport:
    """Build the snapshot again from the kept sources; the answers stay the same.

    Raises
    ------
    StoreError
        If nothing was loaded, or a kept source is missing.
    """
    manifest = store.manifest()
    if not manifest.loads:
        msg = f"nothing is loaded in {store.path}; run: dogdays load FOLDER_OR_FILE --store {store.path}"
        raise StoreError(msg)
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
    import pyarrow as pa  # not needed before something new is loaded

    with path.open("rb") as plain, pa.CompressedOutputStream(str(draft), "zstd") as packed:
        shutil.copyfileobj(plain, packed, 1 << 22)
    with draft.open("rb+") as written:
        os.fsync(written.fileno())
    draft.replace(kept)


def _entry(
    before: Manifest,
    files: tuple[SourceFile, ...],
    path: Path,
    loaded_on: dt.date,
    options: LoadOptions,
    progress: Progress,
) -> LoadEntry | None:
    """Return the manifest's new line, None where the same files with the same options are there already."""
    progress("looking over the files")
    sources = tuple(
        SourceEntry(name=file.name, sha256=hash_file(file.path), n_bytes=file.path.stat().st_size) for file in files
    )
    plain = options.to_plain()
    if before.snapshot and any(load.sources == sources and load.options == plain for load in before.loads):
        return None
    number = max((load.number for load in before.loads), default=0) + 1
    return LoadEntry(number=number, loaded_on=loaded_on.isoformat(), origin=path.name, options=plain, sources=sources)


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
            report = fill(
                database, store, manifest, paths=paths, remarks=remarks, scratch=Path(scratch), progress=progress
            )
            report = replace(report, snapshot=name)
            database.finish()
        except BaseException:
            database.close()
            target.unlink(missing_ok=True)
            target.with_name(target.name + ".wal").unlink(missing_ok=True)
            raise
    return name, report
