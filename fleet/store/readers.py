"""How DuckDB is told to read a file: in full, so that it never guesses."""

from __future__ import annotations

from pathlib import Path

from fleet.store.database import literal

LONGEST_LINE = 16_000_000
"""Bytes; a longer record is refused."""


def csv_relation(path: Path, n_columns: int, delimiter: str) -> str:
    """Return a relation over a well-formed CSV file with a header line: columns c0 .. cn as text, record null."""
    names = [f"c{i}" for i in range(n_columns)]
    reader = _reader(path, names, delimiter=delimiter, header="true")
    return f"(select {', '.join(names)}, null::bigint as record from {reader})"


def numbered_csv_relation(path: Path, n_columns: int) -> str:
    """Return a relation over a repaired file: no header line, the record's number in the first column."""
    names = [f"c{i}" for i in range(n_columns)]
    reader = _reader(path, ["record", *names], delimiter=",", header="false")
    return f"(select {', '.join(names)}, record::bigint as record from {reader})"


def _reader(path: Path, names: list[str], *, delimiter: str, header: str) -> str:
    columns = "{" + ", ".join(f"'{name}': 'varchar'" for name in names) + "}"
    packed = ", compression = 'gzip'" if path.name.lower().endswith(".gz") else ""
    # without auto_detect = false the sniffer still runs and fails the whole file for one bad quote
    return (
        f"read_csv({literal(str(path))}, columns = {columns}, auto_detect = false, header = {header}, "
        f"delim = {literal(delimiter)}, quote = '\"', escape = '\"', max_line_size = {LONGEST_LINE}{packed})"
    )
