"""What a CSV file looks like before anyone parses it: hash, encoding, delimiter, and how many records.

The record count here shares no code with the reader: it counts line ends outside quotes over the raw
bytes, so a reader that loses rows is found out.
"""

from __future__ import annotations

import codecs
import csv
import gzip
import hashlib
import io
import itertools
import os
import re
import tempfile
import zlib
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np
import numpy.typing as npt

from fleet.errors import SourceError

CHUNK = 1 << 22
HEAD = 1 << 18
QUOTE, LINE_FEED, CARRIAGE_RETURN = 34, 10, 13
DELIMITERS = (",", ";", "\t", "|")
GZIP_MARK = b"\x1f\x8b"
FIRST_RECORDS = 20
"""Records by which the delimiter is chosen."""
SEP_LINE = re.compile(r'"?sep=([^\w"])"?\s*', re.IGNORECASE)
"""The first line by which a spreadsheet program names the delimiter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CsvFacts:
    """What a CSV file's beginning says: encoding, delimiter, whether it is packed, and the file's size on disk."""

    encoding: str
    delimiter: str
    n_bytes: int
    gzipped: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CsvCount:
    """How many records a CSV file's bytes hold.

    ``records`` counts line ends outside quotes (a last line without one too), the header included;
    ``regular`` is False where the fast reader can't be trusted with the file: blank lines, stray carriage
    returns, NUL bytes, an open quote at the end, lines inside quotes that look like records, another encoding
    than UTF-8.
    """

    records: int
    regular: bool


@contextmanager
def open_bytes(path: Path) -> Iterator[IO[bytes]]:
    """Open a file for reading bytes, unpacking gzip, which is known by its content; names inside it play no part."""
    with path.open("rb") as stream:
        packed = stream.read(2) == GZIP_MARK
        stream.seek(0)
        if packed:
            with gzip.GzipFile(fileobj=stream, mode="rb") as unpacked:
                yield unpacked  # type: ignore[misc]
        else:
            yield stream


def scratch_file(scratch: Path, ending: str) -> Path:
    """Make a new, empty file in ``scratch``; its name says nothing, so no two sources come into each other's way."""
    scratch.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(suffix=ending, dir=scratch)
    os.close(handle)
    return Path(name)


def hash_file(path: Path) -> str:
    """Return the SHA-256 of a file's bytes as they lie on disk."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def look_at_csv(name: str, path: Path) -> CsvFacts:
    """Look at the beginning of a CSV file.

    Raises
    ------
    SourceError
        If the file is empty or can't be read.
    """
    try:
        with open_bytes(path) as stream:
            head = stream.read(HEAD)
            gzipped = isinstance(stream, gzip.GzipFile)
        size = path.stat().st_size
    except READING_FAILS as error:
        msg = f"{name} can't be read ({error})"
        raise SourceError(msg) from error
    encoding = _encoding(head)
    text = head.decode(encoding, errors="replace").lstrip("\ufeff")
    if not text.strip():
        msg = f"{name} is empty; one of its first lines must name the columns"
        raise SourceError(msg)
    # the last line may be cut off
    whole = text if len(head) < HEAD else text[: text.rfind("\n") + 1] or text
    return CsvFacts(encoding=encoding, delimiter=_delimiter(whole), n_bytes=size, gzipped=gzipped)


READING_FAILS = (OSError, EOFError, zlib.error)
"""What reading bytes may raise, packed ones too."""


def count_records(name: str, path: Path, encoding: str, *, n_fields: int = 0, delimiter: str = ",") -> CsvCount:
    """Count a CSV file's records over its bytes, apart from any reader.

    Parameters
    ----------
    n_fields : int
        How many fields a record has; with three or more, a line inside quotes that has as many makes the file
        irregular: an open quote may have swallowed it.

    Raises
    ------
    SourceError
        If the file can't be read to its end.
    """
    tally = _Tally(n_fields, delimiter.encode())
    try:
        with open_bytes(path) as stream:
            while chunk := stream.read(CHUNK):
                tally.add(chunk)
    except READING_FAILS as error:
        msg = f"{name} can't be read ({error})"
        raise SourceError(msg) from error
    return CsvCount(records=tally.records(), regular=encoding == "utf-8" and tally.regular())


def _encoding(head: bytes) -> str:
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    zeros = head[:2000].count(0)
    if zeros > len(head[:2000]) // 3:
        return "utf-16-le" if head[1:2] == b"\x00" else "utf-16-be"
    try:
        # the chunk may end inside a character
        codecs.getincrementaldecoder("utf-8")().decode(head, final=len(head) < HEAD)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _delimiter(text: str) -> str:
    """Choose the delimiter that splits the first records most evenly, then the one the first line has most of."""
    first = re.split(r"[\r\n]", text.lstrip("\r\n"), maxsplit=1)[0]
    if named := SEP_LINE.fullmatch(first):
        return named[1]
    return max(DELIMITERS, key=lambda mark: (_evenness(text, mark), first.count(mark)))


def _evenness(text: str, delimiter: str) -> float:
    """Return how well a delimiter explains a text: many records of few different widths, the wider the better.

    The measure is the pattern score of van den Burg, Nazábal and Sutton (2019), "Wrangling messy CSV files by
    detecting row and type patterns", Data Mining and Knowledge Discovery 33 (formula from memory), over widths alone.
    """
    widths: Counter[int] = Counter()
    records = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    # a field beyond any measure ends the look: judge by the records before it
    with suppress(csv.Error):
        widths.update(len(row) for row in itertools.islice(filter(None, records), FIRST_RECORDS))
    return sum(n * (width - 1) / width for width, n in widths.items()) / max(len(widths), 1)


class _Tally:
    """Running count of records over a file's chunks by the parity of the quotes passed."""

    def __init__(self, n_fields: int, delimiter: bytes) -> None:
        self._n_fields, self._delimiter = n_fields, delimiter
        self._cut: bytes | None = None
        self._lines = 0
        self._lines_with_return = 0
        self._parity = 0
        self._last_two = (0, LINE_FEED)
        self._irregular = False

    def add(self, chunk: bytes) -> None:
        data = np.frombuffer(chunk, dtype=np.uint8)
        feeds = np.flatnonzero(data == LINE_FEED)
        ends = feeds
        if self._parity or self._cut is not None or QUOTE in chunk:
            quotes = np.flatnonzero(data == QUOTE)
            outside = (np.searchsorted(quotes, feeds) + self._parity) % 2 == 0
            ends = feeds[outside]
            self._parity = (self._parity + len(quotes)) % 2
            if self._n_fields >= 3 and not self._irregular:
                self._look_inside(chunk, feeds, np.flatnonzero(~outside))
        self._lines += len(ends)
        has_returns = CARRIAGE_RETURN in chunk
        self._look_before(data, ends, has_returns=has_returns or self._last_two[1] == CARRIAGE_RETURN)
        self._irregular = self._irregular or 0 in chunk or (has_returns and self._stray_return(data, feeds))
        self._last_two = (int(data[-2]) if len(data) > 1 else self._last_two[1], int(data[-1]))

    def _look_inside(self, chunk: bytes, feeds: npt.NDArray[np.intp], inside: npt.NDArray[np.intp]) -> None:
        """Look at the lines that begin inside quotes; ``inside`` points out the feeds before them.

        One with as many fields as a record has may be a record that an open quote swallowed, the next quote ending a
        field by chance: the reader and the count by parity would both be taken in.
        """
        if self._cut is not None:
            # the line cut off by the end of the last chunk
            self._cut += chunk[: feeds[0]] if len(feeds) else chunk
            if not len(feeds):
                return
            self._irregular = self._has_all_fields(self._cut, 0, len(self._cut))
            self._cut = None
        if len(inside) and inside[-1] == len(feeds) - 1:
            self._cut = chunk[feeds[-1] + 1 :]
            inside = inside[:-1]
        starts, stops = feeds[inside] + 1, feeds[inside + 1]
        long_enough = np.flatnonzero(stops - starts >= self._n_fields)
        self._irregular = self._irregular or any(
            self._has_all_fields(chunk, int(starts[i]), int(stops[i])) for i in long_enough
        )

    def _has_all_fields(self, text: bytes, start: int, stop: int) -> bool:
        return text.count(self._delimiter, start, stop) >= self._n_fields - 1

    def _look_before(self, data: npt.NDArray[np.uint8], ends: npt.NDArray[np.intp], *, has_returns: bool) -> None:
        """Count line ends with a carriage return; a line end right after a line end is an empty line."""
        if not len(ends):
            return
        before = self._bytes_before(data, ends, 1)
        self._irregular = self._irregular or bool(np.any(before == LINE_FEED))
        if has_returns:
            returns = before == CARRIAGE_RETURN
            two_before = self._bytes_before(data, ends, 2)
            self._lines_with_return += int(np.count_nonzero(returns))
            self._irregular = self._irregular or bool(np.any(returns & (two_before == LINE_FEED)))

    def _bytes_before(
        self, data: npt.NDArray[np.uint8], ends: npt.NDArray[np.intp], distance: int
    ) -> npt.NDArray[np.uint8]:
        """Return the byte so far before each line end; before the chunk's first byte lie the last chunk's two."""
        found = data[np.maximum(ends - distance, 0)]
        for i in range(min(distance, len(ends))):
            if ends[i] < distance:
                found[i] = self._last_two[2 + ends[i] - distance]
        return found

    def _stray_return(self, data: npt.NDArray[np.uint8], feeds: npt.NDArray[np.intp]) -> bool:
        returns = np.flatnonzero(data == CARRIAGE_RETURN)
        paired = np.count_nonzero(np.isin(returns + 1, feeds)) + int(returns[-1] == len(data) - 1)
        return bool(paired != len(returns))

    def records(self) -> int:
        return self._lines + (0 if self._last_two[1] == LINE_FEED and not self._parity else 1)

    def regular(self) -> bool:
        mixed = self._lines_with_return not in (0, self._lines)
        return not (self._irregular or mixed or self._parity)
