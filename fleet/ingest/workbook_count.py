"""How far each sheet of a workbook reaches, counted over its XML apart from the reader of its cells.

A workbook is a zip archive of XML files (ECMA-376). Its members are read as streams, never put on disk; one that
unpacks to more than the limit is refused, as is XML with definitions of its own.
"""

from __future__ import annotations

import posixpath
import struct
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.parsers import expat

from fleet.errors import SourceError
from fleet.ingest.workbook_walk import CHUNK, SheetWalk, StringWalk, make_parser

MOST_BYTES = 2_000_000_000
"""Bytes a member may unpack to."""
MOST_CELLS = 20_000_000
"""Cells of the rectangle a sheet's values span; the reader holds them all in memory, some 85 bytes each (measured over
600,000 rows of 12 columns), and a load is to stay below 2 GB."""
UNREADABLE = (
    zipfile.BadZipFile, expat.ExpatError, zlib.error, struct.error, OSError, EOFError, ValueError, LookupError,
    NotImplementedError, RuntimeError,
)  # fmt: skip
"""What a damaged archive or its XML may raise; RuntimeError where a member is encrypted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetCount:
    """Where a sheet's values lie, the first row and column being 1; 0 where it is empty.

    A cell counts as filled where something but spaces stands in it. ``errors`` holds the text of cells with an error
    (``#N/A``) by row and column, which ``n_filled`` leaves out.
    """

    last_row: int
    last_column: int
    n_filled: int
    errors: Mapping[tuple[int, int], str]


class WorkbookParts:
    """The parts of a workbook: ``sheets`` holds the member of the archive by sheet name, in the workbook's order."""

    def __init__(self, name: str, path: Path) -> None:
        self._name, self._path = name, path
        self._filled: bytearray | None = None
        try:
            with zipfile.ZipFile(path) as archive:
                self._read_through(archive)
                self.sheets, self._strings = _find_parts(archive)
        except UNREADABLE as error:
            raise self._damaged(error) from error

    def count(self, sheet: str) -> SheetCount:
        """Count one sheet.

        Raises
        ------
        SourceError
            If the sheet is damaged or spans more cells than memory bears.
        """
        try:
            with zipfile.ZipFile(self._path) as archive:
                if self._filled is None:
                    # a workbook without texts may name strings it doesn't have
                    strings = StringWalk()
                    if self._strings in archive.namelist():
                        strings.parse(archive, str(self._strings))
                    self._filled = strings.filled
                walk = SheetWalk(self._filled)
                walk.parse(archive, self.sheets[sheet])
        except UNREADABLE as error:
            raise self._damaged(error, sheet) from error
        if walk.reach_row * walk.reach_column > MOST_CELLS:
            msg = (
                f"{self._name}:{sheet} has values in row {walk.reach_row} and in column {walk.reach_column}, more than "
                f"{MOST_CELLS:,} cells apart; delete what stands far from the table, or save the sheet as CSV"
            )
            raise SourceError(msg)
        return SheetCount(
            last_row=walk.last_row, last_column=walk.last_column, n_filled=walk.n_filled, errors=walk.errors
        )

    def _read_through(self, archive: zipfile.ZipFile) -> None:
        """Read every part a reader may come to, so that none is larger than it says, or damaged."""
        for info in archive.infolist():
            if info.file_size > MOST_BYTES:
                msg = f"{self._name} unpacks to more than {MOST_BYTES / 1e9:.0f} GB ({info.filename}); save it as CSV"
                raise SourceError(msg)
            if not info.filename.lower().endswith((".xml", ".rels")):
                continue  # pictures and the like, which nobody reads
            with archive.open(info) as stream:
                while stream.read(CHUNK):
                    pass

    def _damaged(self, error: Exception, sheet: str = "") -> SourceError:
        whole = f"{self._name}:{sheet}" if sheet else self._name
        return SourceError(f"{whole} is damaged ({error}); open it, save it again as .xlsx, or save it as CSV")


def _find_parts(archive: zipfile.ZipFile) -> tuple[dict[str, str], str | None]:
    """Return the member of every worksheet by its name, and that of the shared strings."""
    book = next((target for kind, _, target in _relations(archive, "") if kind == "officeDocument"), "xl/workbook.xml")
    relations = _relations(archive, book)
    # sheets of charts and dialogs are relations of another type
    target_of = {relation: target for kind, relation, target in relations if kind == "worksheet"}
    sheets = {}
    for tag, attributes in _starts(archive, book):
        relation = next((value for key, value in attributes.items() if key.rpartition(":")[2] == "id"), "")
        if tag == "sheet" and relation in target_of:
            sheets[attributes["name"]] = target_of[relation]
    return sheets, next((target for kind, _, target in relations if kind == "sharedStrings"), None)


def _relations(archive: zipfile.ZipFile, part: str) -> list[tuple[str, str, str]]:
    """Return kind, name and member of what a part refers to; the package itself is the part without a name."""
    folder, name = posixpath.split(part)
    return [
        (
            attributes.get("Type", "").rpartition("/")[2],
            attributes["Id"],
            posixpath.normpath(posixpath.join("/", folder, attributes["Target"])).lstrip("/"),
        )
        for tag, attributes in _starts(archive, posixpath.join(folder, "_rels", f"{name}.rels"))
        if tag == "Relationship"
    ]


def _starts(archive: zipfile.ZipFile, member: str) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield the elements of a small part as they begin: tag without its prefix, attributes."""
    found: list[tuple[str, dict[str, str]]] = []
    parser = make_parser()
    parser.StartElementHandler = lambda tag, attributes: found.append((tag.rpartition(":")[2], attributes))
    parser.Parse(archive.read(member), True)
    yield from found
