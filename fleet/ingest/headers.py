"""Which column of the log contract a header means: case, spaces, punctuation and the trade's synonyms.

To teach the loader another word for a column, add it to ``fleet/ingest/synonyms.py`` under its table,
and to the test beside it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fleet.errors import SourceError
from fleet.ingest.synonyms import SHEET_SYNONYMS, SYNONYMS
from fleet.store.schema import SHEET_COLUMNS, TABLES, Column


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderPlan:
    """How one file's columns are understood.

    ``columns`` holds (position in the file, column of the contract); ``sheet`` says that a visits file
    carries readings, parts or equipment of its own; ``not_understood`` names headers left aside.
    """

    table: str
    headers: tuple[str, ...]
    columns: tuple[tuple[int, Column], ...]
    not_understood: tuple[str, ...]
    sheet: bool


def plain(header: str) -> str:
    """Return a header without case, spaces, punctuation: ``Unit-ID `` and ``unit_id`` are one."""
    return re.sub(r"[^a-z0-9]", "", header.lower().replace("µ", "u").replace("μ", "u"))


def understand_headers(file_name: str, table: str, headers: Sequence[str]) -> HeaderPlan:
    """Match a file's headers to the contract's columns of ``table``.

    Raises
    ------
    SourceError
        If a needed column is missing, or two headers mean the same column.
    """
    words = _words_of(table)
    taken: dict[str, int] = {}
    pairs: list[tuple[int, Column]] = []
    unknown: list[str] = []
    exact = {plain(c.name) for c in _columns_of(table)}
    # a header that is the column's own name wins over a synonym elsewhere in the file
    for position in sorted(range(len(headers)), key=lambda i: plain(headers[i]) not in exact):
        column = words.get(plain(headers[position]))
        if column is None:
            unknown.append(headers[position])
        elif column.name in taken:
            if plain(headers[position]) in exact:
                first = headers[taken[column.name]]
                msg = (
                    f"{file_name}: the columns {first!r} and {headers[position]!r} both mean {column.name}; rename one"
                )
                raise SourceError(msg)
            unknown.append(headers[position])
        else:
            taken[column.name] = position
            pairs.append((position, column))
    _require_needed(file_name, table, headers, taken)
    own = {column.name for column in TABLES[table].columns}
    sheet = table == "visits" and any(column.name not in own for _, column in pairs)
    return HeaderPlan(
        table=table, headers=tuple(headers), columns=tuple(sorted(pairs, key=lambda p: p[0])),
        not_understood=tuple(h for h in unknown if h.strip()), sheet=sheet,
    )  # fmt: skip


def best_table(headers: Sequence[str]) -> str | None:
    """Return the table whose columns these headers fit best, None where too few fit to say."""
    found = {plain(header) for header in headers}
    scores = {}
    for name, described in TABLES.items():
        words = _words_of(name)
        hits = {words[h].name for h in found if h in words}
        needed = {c.name for c in described.columns if c.needed}
        if needed <= hits:
            scores[name] = len(hits) / max(len(found), 1) + 0.01 * len(hits)
    return max(scores, key=lambda name: scores[name]) if scores else None


def _columns_of(table: str) -> tuple[Column, ...]:
    return TABLES[table].columns + (SHEET_COLUMNS if table == "visits" else ())


def _words_of(table: str) -> dict[str, Column]:
    words: dict[str, Column] = {}
    columns = {column.name: column for column in _columns_of(table)}
    synonyms = {**(SHEET_SYNONYMS if table == "visits" else {}), **SYNONYMS[table]}
    for name, column in columns.items():
        words.setdefault(plain(name), column)
    for name in columns:
        for word in synonyms.get(name, ()):
            words.setdefault(plain(word), columns[name])
    return words


def _require_needed(file_name: str, table: str, headers: Sequence[str], taken: Mapping[str, int]) -> None:
    missing = [column.name for column in TABLES[table].columns if column.needed and column.name not in taken]
    if missing:
        shown = ", ".join(headers[:12]) + (" …" if len(headers) > 12 else "")
        msg = f"{file_name}: the needed column {missing[0]} of {table} is missing (its headers: {shown})"
        raise SourceError(msg)
