"""Which files make up a log, what kind each is, and which table it belongs to."""

from __future__ import annotations

import zipfile
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from fleet.errors import SourceError
from fleet.ingest.csv_bytes import READING_FAILS, look_at_csv, open_bytes
from fleet.ingest.csv_repair import first_records
from fleet.ingest.header_row import MOST_ROWS, csv_header, names_a_table
from fleet.ingest.refused_file import is_refused_file
from fleet.ingest.sqlite_file import SQLITE_MARK, list_tables
from fleet.store.schema import TABLES

CSV_ENDINGS = (".csv", ".csv.gz", ".tsv", ".tsv.gz", ".txt", ".txt.gz")
SQLITE_ENDINGS = (".sqlite", ".sqlite3", ".db")
WORKBOOK_ENDINGS = (".xlsx", ".xlsm")
NOTE_ENDING = ".txt"
"""Of files so named some hold a table, and some a note to whoever opens the folder."""
BESIDE_SQLITE = ("-wal", "-shm", "-journal")
"""What SQLite keeps beside a file in use; it is read with the file."""

KINDS = "a folder of CSV, XLSX and SQLite files, or one such file"

UNPACK = "unpack it first, then give the folder or file that was in it"
SAVE_AS = "save it as .xlsx or CSV"
PACKED = {b"7z\xbc\xaf\x27\x1c": "7z", b"Rar!\x1a\x07": "rar", b"BZh": "bzip2", b"\xfd7zXZ\x00": "xz",
          b"\x28\xb5\x2f\xfd": "zstd"}  # fmt: skip
OTHERS = {b"%PDF": "a PDF file", b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture", b"PAR1": "a Parquet file"}
"""First bytes of files that are no tables of text (from the formats' own descriptions, by memory)."""
OLE_MARK = bytes.fromhex("d0cf11e0a1b11ae1")
MOST_CONTROLS = 0.05
"""Share of control bytes in a file's beginning above which it is no text."""
FEWEST_ALIKE = 3
"""Lines with the same number of fields, the header among them, from which on a text may be a table."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceFile:
    """One file of a log: ``kind`` is csv, workbook or sqlite; ``name`` is how reports call it."""

    name: str
    path: Path
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Discovery:
    """The files of a log and, said aloud, what was passed over in its folder."""

    files: tuple[SourceFile, ...]
    passed_over: tuple[str, ...]


def discover(path: Path, *, is_named: Callable[[str], bool] = lambda _: False) -> Discovery:
    """Find the files of the log at ``path``: a folder of CSV, XLSX and SQLite files, or one such file.

    In a folder, files are chosen by their endings; hidden files, lock files of a spreadsheet program (``~$``),
    folders, other kinds and notes (text files that plainly hold no table) are passed over. What kind a chosen file is,
    its content says.

    Parameters
    ----------
    is_named : callable
        Tells by a file's name whether the user has said how it is to be read; such a file is no note.

    Raises
    ------
    SourceError
        If nothing is there, or nothing that can be read as a log.
    """
    try:
        if not path.exists():
            msg = f"{path} isn't there; give {KINDS}"
            raise SourceError(msg)
        if path.is_dir():
            return _discover_folder(path, is_named)
        return Discovery(files=(_source_file(path),), passed_over=())
    except OSError as error:
        msg = f"{path} can't be read ({error.strerror or error})"
        raise SourceError(msg) from error


def kind_of(name: str, path: Path) -> str:
    """Return what a file is by its content: csv, workbook or sqlite.

    Raises
    ------
    SourceError
        If it is none of them; the message says what it is and what to do.
    """
    with path.open("rb") as stream:
        head = stream.read(4096)
    if head.startswith(SQLITE_MARK):
        return "sqlite"
    if head.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        return _kind_of_zip(name, path)
    if found := _strange(name, head):
        raise SourceError(found)
    for endings, what in ((SQLITE_ENDINGS, "SQLite file"), (WORKBOOK_ENDINGS, "workbook")):
        if name.lower().endswith(endings):
            msg = f"{name} is named like a {what} but isn't one; save it again, or export its tables as CSV"
            raise SourceError(msg)
    _require_text(name, path)
    return "csv"


def is_note(name: str, path: Path) -> bool:
    """Tell whether a file of text plainly is no table, but a note that lies beside one (``readme.txt``).

    Only files ending in .txt are asked. One that is named like a log's table, or in which some row names the columns
    of one, is none; nor is one whose lines mostly have the same number of fields: it may be a table in words of its
    own, and the load must not go on without it.
    """
    if not name.lower().endswith(NOTE_ENDING) or table_by_name(name):
        return False
    with open_bytes(path) as stream:
        if not stream.read(1 << 18).strip(b" \t\r\n\x00\xff\xfe\xef\xbb\xbf"):
            return True
    facts = look_at_csv(name, path)
    with suppress(SourceError):  # a header that can't be split
        facts, _, headers = csv_header(name, path, facts)
        # one word on a line of its own names no table
        if is_refused_file(headers) or (sum(map(bool, headers)) > 1 and names_a_table(headers)):
            return False
    fields = [record.fields or [] for record in first_records(path, facts, MOST_ROWS)]
    widths = Counter(len(row) for row in fields if any(field.strip() for field in row))
    width, n_alike = max(widths.items(), key=lambda item: (item[0] > 1, item[1]), default=(0, 0))
    # commas come in sentences too
    fewest = 3 if facts.delimiter == "," else 2
    return width < fewest or n_alike < FEWEST_ALIKE or n_alike * 3 < widths.total() * 2


def table_by_name(file_name: str) -> str | None:
    """Return the table whose name the file's own begins with (``visits_2024.csv``), else None."""
    stem = file_name.lower().replace("-", "_").replace(" ", "_")
    matches = [name for name in TABLES if stem.startswith(name)]
    return max(matches, key=len) if matches else None


def sqlite_tables(path: Path, name: str = "") -> tuple[tuple[str, str | None], ...]:
    """Return (name in the file, log table) for each table and view of a SQLite file that belongs to a log.

    Where no name fits, all tables and views are returned with None, for their headers to decide.

    Raises
    ------
    SourceError
        If the file can't be read as SQLite, or holds no table.
    """
    shown = name or path.name
    names = list_tables(shown, path)
    if not names:
        msg = f"{shown} holds no table; a log has {', '.join(TABLES)}"
        raise SourceError(msg)
    found = tuple((member, table) for member in names if (table := table_by_name(member)))
    return found or tuple((member, None) for member in names)


def order_of_reading(tables: Sequence[str]) -> list[int]:
    """Return positions in the order tables are read: as the log contract lists them, files by name."""
    order = list(TABLES)
    return sorted(range(len(tables)), key=lambda i: (order.index(tables[i]), i))


def _discover_folder(folder: Path, is_named: Callable[[str], bool]) -> Discovery:
    endings = (*CSV_ENDINGS, *SQLITE_ENDINGS, *WORKBOOK_ENDINGS)
    files: list[SourceFile] = []
    others: list[str] = []
    for entry in sorted(folder.iterdir()):
        if entry.name.startswith((".", "~$")) or not entry.is_file() or not entry.name.lower().endswith(endings):
            others.append(_shown(entry))
            continue
        file = _source_file(entry)
        if file.kind == "csv" and not is_named(file.name) and is_note(file.name, file.path):
            others.append(file.name)
        else:
            files.append(file)
    if not files:
        held = f" (it holds {', '.join(others[:5])}{' …' if len(others) > 5 else ''})" if others else ""
        msg = f"{folder} holds no CSV, XLSX or SQLite file{held}"
        raise SourceError(msg)
    read_along = {file.name + ending for file in files if file.kind == "sqlite" for ending in BESIDE_SQLITE}
    return Discovery(files=tuple(files), passed_over=tuple(name for name in others if name not in read_along))


def _source_file(path: Path) -> SourceFile:
    try:
        str(path).encode()
    except UnicodeEncodeError as error:
        msg = f"{_shown(path)}: its name or its folder's isn't written in UTF-8; rename it"
        raise SourceError(msg) from error
    if not path.is_file():
        msg = f"{path.name} is neither a file nor a folder; give {KINDS}"
        raise SourceError(msg)
    try:
        kind = kind_of(path.name, path)
    except OSError as error:
        msg = f"{path.name} can't be read ({error.strerror or error})"
        raise SourceError(msg) from error
    return SourceFile(name=path.name, path=path, kind=kind)


def _shown(path: Path) -> str:
    """Return a file's name as it can be printed, whatever bytes it is made of."""
    return path.name.encode(errors="surrogateescape").decode(errors="replace")


def _kind_of_zip(name: str, path: Path) -> str:
    try:
        with zipfile.ZipFile(path) as archive:
            members = set(archive.namelist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        msg = f"{name} is damaged ({error}); save it again, or as CSV"
        raise SourceError(msg) from error
    if "[Content_Types].xml" in members and any(member.endswith("workbook.xml") for member in members):
        return "workbook"
    if "xl/workbook.bin" in members:
        msg = f"{name} is a binary workbook (.xlsb); {SAVE_AS}"
    elif {"mimetype", "content.xml"} <= members:
        msg = f"{name} is an OpenDocument file; {SAVE_AS}"
    else:
        msg = f"{name} is a zip archive; {UNPACK}"
    raise SourceError(msg)


def _strange(name: str, head: bytes) -> str:
    """Return what to say of a file that is no table of text by its first bytes, blank where nothing speaks so."""
    for mark, what in PACKED.items():
        if head.startswith(mark):
            return f"{name} is a {what} archive; {UNPACK}"
    if head[257:262] == b"ustar":
        return f"{name} is a tar archive; {UNPACK}"
    for mark, what in OTHERS.items():
        if head.startswith(mark):
            return f"{name} is {what}; give {KINDS}"
    if head.startswith(OLE_MARK):
        return f"{name} is an old workbook (.xls) or one locked with a password; {SAVE_AS}, without a password"
    if head.lstrip(b"\xef\xbb\xbf \t\r\n")[:9].lower().startswith((b"<!doctype", b"<html", b"<?xml")):
        return f"{name} is a web page or XML, not a table of text; {SAVE_AS}"
    return ""


def _require_text(name: str, path: Path) -> None:
    """Refuse a file that isn't text, packed or not."""
    try:
        with open_bytes(path) as stream:
            head = stream.read(4096)
    except READING_FAILS as error:
        msg = f"{name} can't be read ({error})"
        raise SourceError(msg) from error
    if head.startswith((SQLITE_MARK, b"PK\x03\x04")) or head[257:262] == b"ustar":
        msg = f"{name} is packed with gzip; {UNPACK}"
        raise SourceError(msg)
    utf_16 = head.startswith((b"\xff\xfe", b"\xfe\xff")) or head.count(0) > len(head) // 3
    controls = sum(head.count(byte) for byte in range(32) if byte not in b"\t\n\r\x0b\x0c")
    if not utf_16 and controls > MOST_CONTROLS * len(head):
        msg = f"{name} is neither CSV nor XLSX nor SQLite; give {KINDS}"
        raise SourceError(msg)
