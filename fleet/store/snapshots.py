"""The store folder: kept sources, a manifest that is also the pointer, numbered snapshots.

Layout of the folder (``.fleet`` by default)::

    manifest.json          the loads, in order, and the name of the snapshot built from them
    sources/<sha256>.zst   every loaded file, compressed, named by its content
    snapshots/snap-7.duckdb
    spill/                 DuckDB's scratch space
    lock                   held while a load runs

A load builds a snapshot beside the current one and then replaces ``manifest.json`` in one step, so a
reader sees the old load or the new one, never half of either, and a power cut costs nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from fleet.errors import StoreError
from fleet.store.database import Database

LOAD_SCRATCH = "load-"
"""How the folders of a load's scratch files begin."""

FORMAT = 3
"""Raised when the clean tables change shape: an older snapshot is then rebuilt from its sources."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceEntry:
    """One kept file of a load: its name, the hash that names the kept copy, its size in bytes."""

    name: str
    sha256: str
    n_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadEntry:
    """One load: its number, the day it was made, its options, its files in reading order, and what it passed over."""

    number: int
    loaded_on: str
    origin: str
    options: dict[str, Any]
    sources: tuple[SourceEntry, ...]
    passed_over: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """Everything a snapshot is a function of, and the snapshot's name."""

    snapshot: str = ""
    snapshot_format: int = FORMAT
    loads: tuple[LoadEntry, ...] = field(default=())

    @property
    def data_version(self) -> str:
        """What the loads hold, in a short name: the same loads give the same answers."""
        told = json.dumps([asdict(load) for load in self.loads], sort_keys=True)
        return f"log-{hashlib.sha256(told.encode()).hexdigest()[:12]}"

    def to_json(self) -> str:
        """Return the manifest as readable JSON."""
        return json.dumps(asdict(self), indent=2, sort_keys=True) + "\n"

    @classmethod
    def from_json(cls, text: str) -> Manifest:
        """Build the manifest again from its JSON."""
        plain = json.loads(text)
        loads = tuple(
            LoadEntry(
                **{
                    **load,
                    "sources": tuple(SourceEntry(**source) for source in load["sources"]),
                    "passed_over": tuple(load.get("passed_over", ())),
                }
            )
            for load in plain["loads"]
        )
        return cls(snapshot=plain["snapshot"], snapshot_format=plain["snapshot_format"], loads=loads)


class Store:
    """The store folder at ``path``; nothing is created before the first load."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @property
    def sources(self) -> Path:
        """Folder of the kept sources."""
        return self.path / "sources"

    @property
    def spill(self) -> Path:
        """Scratch folder."""
        return self.path / "spill"

    def manifest(self) -> Manifest:
        """Return what has been loaded; an empty manifest where nothing has.

        Raises
        ------
        StoreError
            If the manifest is there but can't be read.
        """
        file = self.path / "manifest.json"
        try:
            return Manifest.from_json(file.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return Manifest()
        except (OSError, ValueError, KeyError, TypeError) as error:
            msg = f"{file} can't be read ({error}); restore it, or load the logs into another --store"
            raise StoreError(msg) from error

    def snapshot_path(self, name: str) -> Path:
        """Return where the snapshot of that name lies."""
        return self.path / "snapshots" / name

    def new_snapshot_name(self) -> str:
        """Return the next unused snapshot name."""
        folder = self.path / "snapshots"
        folder.mkdir(parents=True, exist_ok=True)
        numbers = [int(file.stem.split("-")[1]) for file in folder.glob("snap-*.duckdb")]
        return f"snap-{max(numbers, default=0) + 1}.duckdb"

    def snapshot_name(self) -> str:
        """Return the file name of the current snapshot.

        Raises
        ------
        StoreError
            If nothing has been loaded, or the snapshot is gone or was built by another version of the program.
        """
        manifest = self.manifest()
        if not manifest.snapshot:
            msg = f"nothing is loaded in {self.path}; run: dogdays load FOLDER_OR_FILE --store {self.path}"
            raise StoreError(msg)
        if not self.snapshot_path(manifest.snapshot).exists():
            msg = f"the snapshot is gone from {self.path}; run: dogdays rebuild --store {self.path}"
            raise StoreError(msg)
        if manifest.snapshot_format != FORMAT:
            msg = (
                f"{self.path} was built in format {manifest.snapshot_format}, this version reads format {FORMAT}; "
                f"run: dogdays rebuild --store {self.path}"
            )
            raise StoreError(msg)
        return manifest.snapshot

    def data_version(self) -> str:
        """Return what the loaded data are called, for cache keys and provenance: the same loads, the same name.

        Raises
        ------
        StoreError
            If nothing has been loaded, or the snapshot is gone or was built by another version of the program.
        """
        self.snapshot_name()
        return self.manifest().data_version

    def open(self) -> Database:
        """Open the current snapshot for reading; StoreError where there is none."""
        name = self.snapshot_name()
        try:
            return Database.read(self.snapshot_path(name), spill=self.spill)
        except StoreError:
            # a load that ended between the two steps has taken the old snapshot away
            if self.snapshot_name() == name:
                raise
            return Database.read(self.snapshot_path(self.snapshot_name()), spill=self.spill)

    def publish(self, manifest: Manifest) -> None:
        """Make ``manifest`` and its snapshot the current ones in one atomic step, then tidy up."""
        write_atomically(self.path / "manifest.json", manifest.to_json())
        for file in (self.path / "snapshots").glob("snap-*"):
            if not manifest.snapshot or not file.name.startswith(manifest.snapshot):
                file.unlink(missing_ok=True)

    @contextmanager
    def lock(self) -> Iterator[None]:
        """Hold the store for one load; StoreError while another process holds it, or where it can't be written.

        The lock is the operating system's: it ends with the process that holds it, however that ends.
        """
        held = FileLock(self.path / "lock")
        try:
            self.path.mkdir(parents=True, exist_ok=True)
            held.acquire(timeout=0)
        except Timeout:
            msg = f"another load is running in {self.path}; wait for it to end, then load again"
            raise StoreError(msg) from None
        except OSError as error:
            msg = f"the store {self.path} can't be written ({error.strerror or error}); name another with --store"
            raise StoreError(msg) from error
        try:
            self._tidy()
            yield
        finally:
            held.release()

    def _tidy(self) -> None:
        """Clear what a load that was cut off may have left behind; the lock is held."""
        for leftover in self.spill.glob(f"{LOAD_SCRATCH}*"):
            shutil.rmtree(leftover, ignore_errors=True)
        for draft in (*self.path.glob("*.draft"), *self.sources.glob("*.draft")):
            draft.unlink(missing_ok=True)


def write_atomically(file: Path, text: str) -> None:
    """Replace ``file`` by ``text`` so that a reader or a power cut sees the old or the new, never a part."""
    draft = file.with_name(file.name + ".draft")
    with draft.open("w", encoding="utf-8") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    draft.replace(file)
