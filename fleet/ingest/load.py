"""Load a log: files -> landing -> clean tables or quarantine, as one new snapshot or none."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fleet.errors import SourceError, StoreError
from fleet.ingest.csv_bytes import hash_file
from fleet.ingest.filling import Progress, fill
from fleet.ingest.mapping import LogMapping
from fleet.ingest.report import LoadReport, read_report
from fleet.ingest.sources import SourceFile, discover
from fleet.ingest.sqlite_file import settle_sqlite
from fleet.store.database import Database, EngineError
from fleet.store.snapshots import FORMAT, LOAD_SCRATCH, LoadEntry, Manifest, SourceEntry, Store


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadOptions:
    """What the user may say of a log.

    ``dates`` is the order of day and month, ``as_of`` the day after which dates are future, ``mapping`` how its files
    and columns are to be understood.
    """

    dates: str | None = None
    as_of: dt.date | None = None
    mapping: LogMapping | None = None

    def to_plain(self) -> dict[str, Any]:
        """Return the options as the manifest keeps them."""
        return {
            "dates": self.dates,
            "as_of": self.as_of.isoformat() if self.as_of else None,
            "mapping": self.mapping.to_plain() if self.mapping else None,
        }


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
        A folder of CSV, XLSX or SQLite files, or one such file.
    loaded_on : datetime.date
        The day of the load; kept, so that a rebuild knows what was future then.
    options : LoadOptions
        The order of day and month, the as-of day, and a mapping.
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
        If another load is running, or the store can't be read or written.
    """
    options = options or LoadOptions()
    found = discover(path, is_named=_named_in(options.mapping))
    with store.lock(), _scratch(store) as scratch:
        before = store.manifest()
        progress("looking over the files")
        files = _settled(found.files, scratch)
        entry = _entry(before, files, path, loaded_on, options)
        if entry is None:
            with store.open() as database:
                return read_report(database, data_version=before.data_version, loaded=False)
        entry = replace(entry, passed_over=_passed_over(path, found.passed_over))
        manifest = Manifest(loads=(*before.loads, entry))
        paths = {source.sha256: file.path for source, file in zip(entry.sources, files, strict=True)}
        name, report = _build(store, manifest, paths, scratch, progress)
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
        If nothing was loaded, or a kept source is missing.
    """
    _require_loads(store)
    with store.lock(), _scratch(store) as scratch:
        return _rebuild(store, store.manifest(), scratch, progress)


def undo_load(
    store: Store, number: int | None = None, *, forget: bool = False, progress: Progress = lambda _: None
) -> tuple[LoadEntry, LoadReport | None]:
    """Take a load back: the log is then what the other loads make it.

    Parameters
    ----------
    number : int or None
        The load's number; the latest where none is given.
    forget : bool
        Delete the kept copies of files that no other load has.

    Returns
    -------
    tuple
        The load taken back, and the account of what is left (None where nothing is).

    Raises
    ------
    StoreError
        If there is no such load.
    SourceError
        If what is left is no log by itself; the store is then untouched.
    """
    _require_loads(store)
    with store.lock(), _scratch(store) as scratch:
        manifest = store.manifest()
        gone = next((load for load in reversed(manifest.loads) if number in (None, load.number)), None)
        if gone is None:
            numbers = ", ".join(str(load.number) for load in manifest.loads)
            msg = f"there is no load {number} in {store.path}; its loads: {numbers}"
            raise StoreError(msg)
        left = Manifest(loads=tuple(load for load in manifest.loads if load is not gone))
        report = None
        if left.loads:
            report = _rebuild(store, left, scratch, progress)
        else:
            store.publish(left)
        if forget:
            kept = {source.sha256 for load in left.loads for source in load.sources}
            for source in gone.sources:
                if source.sha256 not in kept:
                    (store.sources / f"{source.sha256}.zst").unlink(missing_ok=True)
        return gone, report


def _require_loads(store: Store) -> None:
    if not store.manifest().loads:
        msg = f"nothing is loaded in {store.path}; run: dogdays load FOLDER_OR_FILE --store {store.path}"
        raise StoreError(msg)


def _rebuild(store: Store, manifest: Manifest, scratch: Path, progress: Progress) -> LoadReport:
    name, report = _build(store, manifest, {}, scratch, progress)
    store.publish(replace(manifest, snapshot=name, snapshot_format=FORMAT))
    return report


@contextmanager
def _scratch(store: Store) -> Iterator[Path]:
    """Yield a folder for a load's scratch files; a disk that can't take them is a known failure."""
    try:
        store.spill.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=store.spill, prefix=LOAD_SCRATCH) as folder:
            yield Path(folder)
    except (OSError, EngineError, MemoryError) as error:
        said = str(error).splitlines()[0] if str(error) else type(error).__name__
        msg = f"the store {store.path} couldn't be written ({said}); it is as it was before, see that the disk has room"
        raise StoreError(msg) from error


def _named_in(mapping: LogMapping | None) -> Callable[[str], bool]:
    """Return what tells whether the mapping speaks of a file in particular."""

    def is_named(name: str) -> bool:
        mapped = mapping.file_for(name) if mapping else None
        return mapped is not None and mapped.name != "*"

    return is_named


OFFICE_ENDINGS = (".xls", ".xlsb", ".ods", ".numbers")
PACKED_ENDINGS = (".zip", ".7z", ".rar", ".tar", ".tgz", ".tar.gz", ".bz2", ".xz")


def _passed_over(folder: Path, names: Sequence[str]) -> tuple[str, ...]:
    """Say which files of the folder were passed over, and what to do with those that may be part of the log."""
    groups: dict[str, list[str]] = {}
    for name in names:
        groups.setdefault(_why_passed_over(folder / name), []).append(name)
    return tuple(f"passed over in {folder.name}: {_some(groups[why])}{why}" for why in sorted(groups, reverse=True))


def _why_passed_over(path: Path) -> str:
    name = path.name.lower()
    if name.startswith((".", "~$")):
        return " (hidden)"
    if path.is_dir():
        return " (not looked into); give a folder by itself if it is part of the log"
    if name.endswith(OFFICE_ENDINGS):
        return "; save as .xlsx or CSV what is part of the log"
    if name.endswith(PACKED_ENDINGS):
        return "; unpack what is part of the log"
    return " (no table of a log)"


def _some(names: Sequence[str]) -> str:
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")


def keep_source(store: Store, source: SourceEntry, path: Path) -> None:
    """Keep a compressed copy of a loaded file, named by its content's hash.

    Raises
    ------
    SourceError
        If the file is no longer what was loaded.
    """
    kept = store.sources / f"{source.sha256}.zst"
    if kept.exists():
        return
    store.sources.mkdir(parents=True, exist_ok=True)
    draft = kept.with_suffix(".draft")
    import pyarrow as pa  # not needed before something new is loaded

    seen = hashlib.sha256()
    with path.open("rb") as plain, pa.CompressedOutputStream(str(draft), "zstd") as packed:
        while chunk := plain.read(1 << 22):
            seen.update(chunk)
            packed.write(chunk)
    if seen.hexdigest() != source.sha256:
        draft.unlink(missing_ok=True)
        msg = f"{source.name} changed while it was being loaded; load it again when nothing writes to it"
        raise SourceError(msg)
    with draft.open("rb+") as written:
        os.fsync(written.fileno())
    draft.replace(kept)


def _settled(files: Sequence[SourceFile], scratch: Path) -> list[SourceFile]:
    """Return the files to read: a SQLite file that is still being written to is copied whole first."""
    return [replace(file, path=settle_sqlite(file.path, scratch)) if file.kind == "sqlite" else file for file in files]


def _entry(
    before: Manifest,
    files: Sequence[SourceFile],
    path: Path,
    loaded_on: dt.date,
    options: LoadOptions,
) -> LoadEntry | None:
    """Return the manifest's new line, None where the same files with the same options are there already."""
    sources = tuple(
        SourceEntry(name=file.name, sha256=hash_file(file.path), n_bytes=file.path.stat().st_size) for file in files
    )
    plain = options.to_plain()
    if before.snapshot and any(load.sources == sources and load.options == plain for load in before.loads):
        return None
    number = max((load.number for load in before.loads), default=0) + 1
    return LoadEntry(number=number, loaded_on=loaded_on.isoformat(), origin=path.name, options=plain, sources=sources)


def _build(
    store: Store, manifest: Manifest, paths: Mapping[str, Path], scratch: Path, progress: Progress
) -> tuple[str, LoadReport]:
    """Build a new snapshot from all loads of ``manifest``; on any failure no file is left behind."""
    name = store.new_snapshot_name()
    target = store.snapshot_path(name)
    database = Database.build(target, spill=scratch)
    try:
        report = fill(database, store, manifest, paths=paths, scratch=scratch, progress=progress)
        database.finish()
    except BaseException:
        database.close()
        target.unlink(missing_ok=True)
        target.with_name(target.name + ".wal").unlink(missing_ok=True)
        raise
    return name, report
