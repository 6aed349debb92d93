"""Walks over the XML of a workbook's large parts: which cells and which shared strings hold something."""

from __future__ import annotations

import re
import zipfile
from xml.parsers import expat

CHUNK = 1 << 18
MOST_ROWS, MOST_COLUMNS = 1_048_576, 16_384
"""The size of a sheet in the file format."""


def make_parser() -> expat.XMLParserType:
    """Return a parser that refuses definitions of a document's own: entities may grow beyond any measure."""

    def refuse(*_: object) -> None:
        msg = "it holds a document type definition"
        raise ValueError(msg)

    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = refuse
    return parser


class Walk:
    """A walk over one large part: elements as they begin, and the text of those that are listened to.

    The handlers are called tens of millions of times for a large sheet: hence so plain.
    """

    def __init__(self) -> None:
        self._tags: dict[str, str] = {}
        self._listening = self._heard = self._phonetic = False
        self._text = ""

    def parse(self, archive: zipfile.ZipFile, member: str) -> None:
        """Walk over a member to its end."""
        parser = make_parser()
        parser.StartElementHandler = self._start
        parser.CharacterDataHandler = self._hear
        with archive.open(member) as stream:
            while chunk := stream.read(CHUNK):
                parser.Parse(chunk, False)
            parser.Parse(b"", True)
        self._settle()

    def _hear(self, text: str) -> None:
        # until the next element begins, line breaks and indents may be heard too: spaces never count
        if self._listening:
            self._text += text

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        kind = self._tags.get(tag)
        if kind is None:
            kind = self._tags[tag] = tag.rpartition(":")[2]
        if kind == "v" or (kind == "t" and not self._phonetic):
            self._listening = self._heard = True
            return
        self._listening = False
        if kind == "c" or kind == "row" or kind == "si":
            self._settle()
            self._heard = self._phonetic = False
            self._text = ""
            self._begin(kind, attributes)
        elif kind == "rPh":
            self._phonetic = True

    def _settle(self) -> None:
        """Take note of the cell or string that ends here."""
        raise NotImplementedError

    def _begin(self, kind: str, attributes: dict[str, str]) -> None:
        """Begin a cell, a string or a row."""
        raise NotImplementedError


class StringWalk(Walk):
    """Notes of each shared string whether something but spaces stands in it."""

    def __init__(self) -> None:
        super().__init__()
        self.filled = bytearray()
        self._begun = False

    def _settle(self) -> None:
        if self._begun:
            self.filled.append(_says_something(self._text))

    def _begin(self, kind: str, attributes: dict[str, str]) -> None:
        self._begun = True


class SheetWalk(Walk):
    """Notes where a sheet's filled cells lie."""

    def __init__(self, strings: bytearray) -> None:
        super().__init__()
        self._strings = strings
        self._row = self._column = 0
        self._row_text = "0"
        self._place: str | None = None
        self._type: str | None = None
        self._columns: dict[str, int] = {}
        self.last_row = self.last_column = self.n_filled = self.reach_row = self.reach_column = 0
        self.errors: dict[tuple[int, int], str] = {}

    def _begin(self, kind: str, attributes: dict[str, str]) -> None:
        if kind == "c":
            place = attributes.get("r")
            if place is None:
                # a cell that doesn't say where it lies comes right after the one before it
                self._column = (self._find_column() if self._place else self._column) + 1
            self._place, self._type = place, attributes.get("t")
        else:
            self._row_text = attributes.get("r") or str(self._row + 1)
            self._row, self._column, self._place = int(self._row_text), 0, None

    def _find_column(self) -> int:
        """Return the cell's column; where it says that it lies in another row than the one it stands in, go there."""
        place = self._place
        if place is None:
            return self._column
        if place.endswith(self._row_text):
            column = self._columns.get(place[: -len(self._row_text)])
            if column is not None:
                return column
        letters = place.rstrip("0123456789")
        self._row_text = place[len(letters) :]
        self._row = int(self._row_text)
        self._columns[letters] = column = _column_of(letters)
        return column

    def _settle(self) -> None:
        if not self._heard:
            return
        column = self._find_column()
        if self._row > self.reach_row or column > self.reach_column:
            self._reach_to(column)
        text = self._text
        if not _says_something(text) or (self._type == "s" and not self._strings[int(text)]):
            return
        if self._row > self.last_row:
            self.last_row = self._row
        if column > self.last_column:
            self.last_column = column
        if self._type == "e":
            self.errors[self._row, column] = text.strip()
        else:
            self.n_filled += 1

    def _reach_to(self, column: int) -> None:
        """Note how far values of any kind reach: the reader's memory goes by that, be they empty texts."""
        if not (0 < self._row <= MOST_ROWS and 0 < column <= MOST_COLUMNS):
            msg = f"a cell lies at {self._place or (self._row, column)}, outside of any sheet"
            raise ValueError(msg)
        self.reach_row, self.reach_column = max(self.reach_row, self._row), max(self.reach_column, column)


def _says_something(text: str) -> bool:
    """Tell whether something but spaces stands in a text, those written as ``_x000D_`` (ECMA-376, ST_Xstring) too."""
    if "_x" in text:
        text = re.sub("_x([0-9A-Fa-f]{4})_", lambda found: chr(int(found[1], 16)), text)
    return text != "" and not text.isspace()


def _column_of(letters: str) -> int:
    """Return the number of a column by its letters.

    Examples
    --------
    >>> _column_of("A"), _column_of("AB")
    (1, 28)
    """
    if not letters.isascii() or not letters.isalpha() or len(letters) > 3:
        msg = f"{letters!r} is no column of a sheet"
        raise ValueError(msg)
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - 64
    return number
