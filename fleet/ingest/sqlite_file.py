"""One SQLite file: a copy of it that stands still, and the tables in it.

The file itself is never written to, and nothing is left beside it.
"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from fleet.errors import SourceError
from fleet.ingest.csv_bytes import scratch_file

SQLITE_MARK = b"SQLite format 3\x00"
WAIT_S = 2.0
"""Seconds to wait for another program that holds the file."""
FAILS = (sqlite3.Error, OSError, UnicodeError)
"""What reading may raise; UnicodeError where a damaged file makes SQLite complain in no known letters."""
DAMAGED = ("***", "Tree ", "Page ", "database disk image")
"""How a check's complaints about the file begin; others are about values its maker's own rules forbid."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SqliteTable:
    """A table or view of a SQLite file, its columns and how many rows it says it has."""

    source: str
    path: Path
    member: str
    headers: tuple[str, ...]
    n_rows: int


def open_sqlite(path: Path) -> sqlite3.Connection:
    """Open a SQLite file for reading; a text that isn't UTF-8 doesn't stop the reading."""
    connection = sqlite3.connect(address_of(path), uri=True, timeout=WAIT_S, check_same_thread=False)
    connection.text_factory = lambda raw: raw.decode("utf-8", errors="replace")
    return connection


def address_of(path: Path) -> str:
    """Return the address to open a file by, read-only.

    A file in write-ahead mode whose log is empty is opened as one that nobody changes: otherwise SQLite would put
    files of its own beside it.
    """
    with path.open("rb") as stream:
        in_log_mode = stream.read(20)[18:] == b"\x02\x02"
    still = "&immutable=1" if in_log_mode and not _is_filled(path, "-wal") else ""
    return f"{path.resolve().as_uri()}?mode=ro{still}"


def settle_sqlite(path: Path, scratch: Path) -> Path:
    """Return a file that holds all that is committed: ``path`` itself, or a copy in ``scratch``.

    Rows may lie in a write-ahead log beside the file, and a program that broke off may have left a journal of what
    has to be taken back; either is worked into the copy. The same state gives the same bytes.

    Raises
    ------
    SourceError
        If another program holds the file, or it can't be read.
    """
    try:
        if _is_filled(path, "-wal"):
            return _with_log(path, scratch_file(scratch, ".sqlite"))
        if _is_filled(path, "-journal") and _must_be_taken_back(path):
            return _worked_in(path, scratch_file(scratch, ".sqlite"), "-journal")
    except FAILS as error:
        raise refusal(path.name, "", error) from error
    return path


def list_tables(name: str, path: Path) -> tuple[str, ...]:
    """Return the names of a file's tables and views, SQLite's own left out.

    Raises
    ------
    SourceError
        If the file can't be read as SQLite.
    """
    try:
        with closing(open_sqlite(path)) as connection:
            found = connection.execute("select name from sqlite_master where type in ('table', 'view') order by name")
            return tuple(str(table) for (table,) in found if not str(table).startswith("sqlite_"))
    except FAILS as error:
        raise refusal(name, "", error) from error


def look_at_table(name: str, path: Path, member: str) -> SqliteTable:
    """Look at one table or view: its columns, its rows, and whether its pages hang together.

    Raises
    ------
    SourceError
        If it can't be read, or is damaged.
    """
    try:
        with closing(open_sqlite(path)) as connection:
            headers = tuple(
                str(c[0])
                for c in connection.execute(f"select * from {quoted(member)} limit 0").description  # noqa: S608
            )
            n_rows = int(connection.execute(f"select count(*) from {quoted(member)}").fetchone()[0])  # noqa: S608
            _check_pages(connection, member)
    except FAILS as error:
        raise refusal(name, member, error) from error
    return SqliteTable(source=name, path=path, member=member, headers=headers, n_rows=n_rows)


class RowsDiffer(Exception):
    """The rows that came are not as many as were counted."""


def refusal(name: str, member: str, error: Exception) -> SourceError:
    """Return the error that says why a SQLite file, or a table of it, can't be read."""
    whole = f"the table {member} of {name}" if member else name
    said = " ".join(str(error).split())
    if getattr(error, "sqlite_errorname", "").startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        msg = f"{name} is in use by another program ({said}); close it there, then load again"
    elif isinstance(error, RowsDiffer):
        msg = f"{whole} changed while it was read, or is damaged ({said}); load it again from a copy"
    else:
        msg = f"{whole} can't be read ({said}); repair the file, or export the table as CSV"
    return SourceError(msg)


def _check_pages(connection: sqlite3.Connection, member: str) -> None:
    """Let SQLite check a table's pages (a few percent of the time it takes to read them); views have none."""
    kind = connection.execute("select type, sql from sqlite_master where name = ?", [member]).fetchone()
    if kind is None or kind[0] != "table" or str(kind[1]).lower().startswith("create virtual"):
        return
    said = [str(row[0]) for row in connection.execute(f"pragma quick_check({quoted(member)})")]
    if bad := [line for line in said if line.startswith(DAMAGED)]:
        raise sqlite3.DatabaseError(" ".join(bad[0].split()))


def _beside(path: Path, ending: str) -> Path:
    return path.with_name(path.name + ending)


def _is_filled(path: Path, ending: str) -> bool:
    other = _beside(path, ending)
    return other.is_file() and other.stat().st_size > 0


def _with_log(path: Path, to: Path) -> Path:
    """Copy a file together with its write-ahead log."""
    if not _beside(path, "-shm").exists():
        return _worked_in(path, to, "-wal")  # nobody has it open
    try:
        with closing(open_sqlite(path)) as source, closing(sqlite3.connect(to)) as target:
            source.execute("select count(*) from sqlite_master").fetchone()  # waits for who holds it, then gives up
            source.backup(target, progress=_give_up_when_busy)
            target.execute("pragma journal_mode = delete")
    except sqlite3.OperationalError as error:
        if getattr(error, "sqlite_errorname", "").startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
            raise
        return _worked_in(path, to, "-wal")  # its folder can't be written
    return to


def _give_up_when_busy(status: int, remaining: int, total: int) -> None:
    if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        msg = f"busy with {remaining} of {total} pages to copy"
        raise OSError(msg)


def _worked_in(path: Path, to: Path, ending: str) -> Path:
    """Copy a file and what lies beside it, and let SQLite work that into the copy."""
    shutil.copyfile(path, to)
    shutil.copyfile(_beside(path, ending), _beside(to, ending))
    with closing(sqlite3.connect(to)) as copy:
        copy.execute("select count(*) from sqlite_master").fetchone()
        copy.execute("pragma journal_mode = delete")
    return to


def _must_be_taken_back(path: Path) -> bool:
    """Tell whether a journal waits to be taken back, which a reader may not do."""
    try:
        with closing(open_sqlite(path)) as connection:
            connection.execute("select count(*) from sqlite_master").fetchone()
    except sqlite3.OperationalError as error:
        if getattr(error, "sqlite_errorname", "").startswith("SQLITE_READONLY"):
            return True
        raise
    return False


def quoted(name: str) -> str:
    """Return a name as an SQL identifier."""
    return '"' + name.replace('"', '""') + '"'
