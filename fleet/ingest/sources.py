"""Which files make up a log, what kind each is, and which table it belongs to."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from fleet.errors import SourceError
from fleet.store.schema import TABLES

CSV_ENDINGS = (".csv", ".csv.gz", ".tsv", ".tsv.gz", ".txt", ".txt.gz")
SQLITE_ENDINGS = (".sqlite", ".sqlite3", ".db")
SQLITE_MARK = b"SQLite format 3\x00"


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceFile:
    """One file of a log: ``kind`` is csv or sqlite; ``name`` is how reports call it."""

    name: str
    path: Path
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Discovery:
    """The files of a log and, said aloud, what was passed over in its folder."""

    files: tuple[SourceFile, ...]
    passed_over: tuple[str, ...]


def discover(path: Path) -> Discovery:
    """Find the files of the log at ``path``: a folder of CSV files, one CSV file, or one SQLite file.

    Raises
    ------
    SourceError
        If nothing is there, or nothing that can be read as a log.
    """
    if not path.exists():
        msg = f"{path} isn't there; give a folder of CSV files, one CSV file or one SQLite file"
        raise SourceError(msg)
    if path.is_dir():
        return _discover_folder(path)
    return Discovery(files=(SourceFile(name=path.name, path=path, kind=_kind_of(path)),), passed_over=())


def table_by_name(file_name: str) -> str | None:
    """Return the table whose name the file's own begins with (``visits_2024.csv``), else None."""
    stem = file_name.lower().replace("-", "_").replace(" ", "_")
    matches = [name for name in TABLES if stem.startswith(name)]
    return max(matches, key=len) if matches else None


def sqlite_tables(path: Path) -> tuple[tuple[str, str], ...]:
    """Return (name in the file, log table) for each table of a SQLite file that belongs to a log.

    Raises
    ------
    SourceError
        If the file can't be read as SQLite, or holds no table of a log.
    """
    try:
        connection = sqlite3.connect(f"file:{path.resolve().as_posix()}?mode=ro", uri=True)
        try:
            listing = "select name from sqlite_master where type in ('table', 'view') order by name"
            rows = [row for row in connection.execute(listing) if not str(row[0]).startswith("sqlite_")]
        finally:
            connection.close()
    except sqlite3.Error as error:
        msg = f"{path.name} can't be read as SQLite ({error})"
        raise SourceError(msg) from error
    found = tuple((str(name), table) for (name,) in rows if (table := table_by_name(str(name))))
    if not found:
        names = ", ".join(str(name) for (name,) in rows) or "none"
        msg = f"{path.name} has no table of a service log (its tables: {names}); a log has {', '.join(TABLES)}"
        raise SourceError(msg)
    return found


def order_of_reading(tables: Sequence[str]) -> list[int]:
    """Return positions in the order tables are read: as the log contract lists them, files by name."""
    order = list(TABLES)
    return sorted(range(len(tables)), key=lambda i: (order.index(tables[i]), i))


def _discover_folder(folder: Path) -> Discovery:
    files, passed_over = [], []
    for entry in sorted(folder.iterdir()):
        name = entry.name
        if name.startswith(".") or entry.is_dir() or not name.lower().endswith(CSV_ENDINGS):
            passed_over.append(name)
        else:
            files.append(SourceFile(name=name, path=entry, kind="csv"))
    if not files:
        sqlite_files = [name for name in passed_over if name.lower().endswith(SQLITE_ENDINGS)]
        hint = f"; to load {sqlite_files[0]}, name the file itself" if sqlite_files else ""
        msg = f"{folder} holds no CSV file{hint}"
        raise SourceError(msg)
    return Discovery(files=tuple(files), passed_over=tuple(passed_over))


def _kind_of(path: Path) -> str:
    with path.open("rb") as stream:
        head = stream.read(4096)
    if head.startswith(SQLITE_MARK):
        return "sqlite"
    name = path.name.lower()
    if name.endswith(SQLITE_ENDINGS):
        msg = f"{path.name} is named like a SQLite file but isn't one"
        raise SourceError(msg)
    if not name.endswith(CSV_ENDINGS) or (b"\x00" in head and not head.startswith((b"\xff\xfe", b"\xfe\xff"))):
        msg = f"{path.name} is neither CSV nor SQLite; give a folder of CSV files, one CSV file or one SQLite file"
        raise SourceError(msg)
    return "csv"
