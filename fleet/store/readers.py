"""How DuckDB is told to read a file: in full, so that it never guesses."""

from __future__ import annotations

import re
from pathlib import Path

from fleet.store.database import literal

LONGEST_LINE = 16_000_000
"""Bytes; a longer record is refused."""


def csv_relation(path: Path, n_columns: int, delimiter: str, *, gzipped: bool = False) -> str:
    """Return a relation over a well-formed CSV file with a header line: columns c0 .. cn as text, record null."""
    names = [f"c{i}" for i in range(n_columns)]
    packed = ", compression = 'gzip'" if gzipped else ", compression = 'none'"
    reader = _reader(path, names, f"delim = {literal(delimiter)}, header = true{packed}")
    return f"(select {', '.join(names)}, null::bigint as record from {reader})"


def numbered_csv_relation(path: Path, n_columns: int) -> str:
    """Return a relation over a repaired file: no header line, the record's number in the first column."""
    names = [f"c{i}" for i in range(n_columns)]
    # told which line end to expect, the reader lets a carriage return inside quotes be
    reader = _reader(path, ["record", *names], r"delim = ',', header = false, compression = 'none', new_line = '\n'")
    return f"(select {', '.join(names)}, record::bigint as record from {reader})"


def _reader(path: Path, names: list[str], dialect: str) -> str:
    columns = "{" + ", ".join(f"'{name}': 'varchar'" for name in names) + "}"
    # a name with * ? or [ in it is this file's name, not a pattern that other files fit
    exact = re.sub(r"[*?\[]", r"[\g<0>]", str(path))
    # without auto_detect = false the sniffer still runs and fails the whole file for one bad quote
    return (
        f"read_csv({literal(exact)}, columns = {columns}, auto_detect = false, {dialect}, "
        f"quote = '\"', escape = '\"', max_line_size = {LONGEST_LINE})"
    )
