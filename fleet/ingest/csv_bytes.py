"""What a CSV file looks like before anyone parses it: hash, encoding, delimiter, and how many records.

The record count here shares no code with the reader: it counts line ends outside quotes over the raw
bytes, so a reader that loses rows is found out.
"""

from __future__ import annotations

import codecs
import gzip
import hashlib
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np
import numpy.typing as npt

from fleet.errors import SourceError

CHUNK = 1 << 22
HEAD = 1 << 18
QUOTE, LINE_FEED, CARRIAGE_RETURN = 34, 10, 13
DELIMITERS = (",", ";", "\t")


@dataclass(frozen=True, slots=True, kw_only=True)
class CsvFacts:
    """What a CSV file's beginning says: encoding, delimiter, the header line, and the file's size on disk."""

    encoding: str
    delimiter: str
    header: str
    n_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CsvCount:
    """How many records a CSV file's bytes hold.

    ``records`` counts line ends outside quotes (a last line without one too), the header included;
    ``regular`` is False where the fast reader can't be trusted with the file: blank lines, stray carriage
    returns, NUL bytes, an open quote at the end, another encoding than UTF-8.
    """

    records: int
    regular: bool


@contextmanager
def open_bytes(path: Path) -> Iterator[IO[bytes]]:
    """Open a file for reading bytes, unpacking gzip."""
    if path.name.lower().endswith(".gz"):
        with gzip.open(path, "rb") as packed:
            yield packed  # type: ignore[misc]
    else:
        with path.open("rb") as stream:
            yield stream


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
        size = path.stat().st_size
    except (OSError, EOFError, zlib.error) as error:
        msg = f"{name} can't be read ({error})"
        raise SourceError(msg) from error
    encoding = _encoding(head)
    header = head.decode(encoding, errors="replace").lstrip("\ufeff").replace("\r", "\n").split("\n", 1)[0]
    if not header.strip():
        msg = f"{name} is empty or begins with an empty line; the first line must name the columns"
        raise SourceError(msg)
    return CsvFacts(encoding=encoding, delimiter=_delimiter(header), header=header, n_bytes=size)


def count_records(name: str, path: Path, encoding: str) -> CsvCount:
    """Count a CSV file's records over its bytes, apart from any reader.

    Raises
    ------
    SourceError
        If the file can't be read to its end.
    """
    tally = _Tally()
    try:
        with open_bytes(path) as stream:
            while chunk := stream.read(CHUNK):
                tally.add(chunk)
    except (OSError, EOFError, zlib.error) as error:
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


def _delimiter(header: str) -> str:
    counts = {mark: header.count(mark) for mark in DELIMITERS}
    best = max(counts, key=lambda mark: counts[mark])
    return best if counts[best] else ","


class _Tally:
    """Running count of records over a file's chunks by the parity of the quotes passed."""

    def __init__(self) -> None:
        self._lines = 0
        self._lines_with_return = 0
        self._parity = 0
        self._last_two = (0, LINE_FEED)
        self._irregular = False

    def add(self, chunk: bytes) -> None:
        data = np.frombuffer(chunk, dtype=np.uint8)
        feeds = np.flatnonzero(data == LINE_FEED)
        ends = feeds
        if self._parity or QUOTE in chunk:
            quotes = np.flatnonzero(data == QUOTE)
            ends = feeds[(np.searchsorted(quotes, feeds) + self._parity) % 2 == 0]
            self._parity = (self._parity + len(quotes)) % 2
        self._lines += len(ends)
        has_returns = CARRIAGE_RETURN in chunk
        self._look_before(data, ends, has_returns=has_returns or self._last_two[1] == CARRIAGE_RETURN)
        self._irregular = self._irregular or 0 in chunk or (has_returns and self._stray_return(data, feeds))
        self._last_two = (int(data[-2]) if len(data) > 1 else self._last_two[1], int(data[-1]))

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
        found = data[ends - distance]
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
