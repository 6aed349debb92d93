"""Which log table a source table is: by its own name, by that of the file holding it alone, or by its headers.

A name decides, unless the headers speak clearly of another table: an equipment list that somebody saved as
``visits.xlsx`` is an equipment list. Headers decide only where they fit one table about as well as any other: one
column of fourteen is no fit.
"""

from __future__ import annotations

from collections.abc import Sequence

from fleet.ingest.guess_names import look_up
from fleet.ingest.headers import best_table
from fleet.ingest.raw import RawTable
from fleet.ingest.sources import table_by_name
from fleet.store.schema import TABLES

CLEARLY = 0.6
"""Share of the headers that a table has to know for its word to count more than a name."""
FEWEST = 3
"""Headers it has to know for that."""


def only_table(tables: Sequence[RawTable]) -> RawTable | None:
    """Return the table of a file that holds no other: beside it at most sheets in which nothing speaks of a log."""
    if len(tables) == 1:
        return tables[0]
    speaking = [
        raw for raw in tables if table_by_name(raw.member) or table_by_headers(raw.headers) or plainly_of(raw.headers)
    ]
    return speaking[0] if len(speaking) == 1 else None


def named_table(raw: RawTable, *, is_only: bool) -> str | None:
    """Return the log table that a source table's own name begins with, else that of the file that holds it alone."""
    named = table_by_name(raw.member) if raw.member else None
    return named or (table_by_name(raw.source) if is_only or not raw.member else None)


def table_by_headers(headers: Sequence[str]) -> str | None:
    """Return the table whose needed columns the headers name, None where they speak far more of another one."""
    best = best_table(headers)
    return best if best and 2 * _known(best, headers) >= _known(_closest(headers), headers) else None


def plainly_of(headers: Sequence[str]) -> str | None:
    """Return the table that most of the headers are columns of, whether or not the needed ones are among them."""
    closest = _closest(headers)
    return closest if _is_clear(closest, headers) else None


def clearly_another(named: str, headers: Sequence[str], *, fits: bool) -> str | None:
    """Return the table the headers clearly speak of instead of the ``named`` one, None where they don't.

    Parameters
    ----------
    fits : bool
        Whether the named table's needed columns are there; the other must then know twice as many headers, else more.
    """
    other = table_by_headers(headers)
    if other is None or other == named:
        return None
    known, here = _known(other, headers), _known(named, headers)
    return other if _is_clear(other, headers) and (known >= 2 * here if fits else known > here) else None


def _closest(headers: Sequence[str]) -> str:
    return max(TABLES, key=lambda table: _known(table, headers))


def _is_clear(table: str, headers: Sequence[str]) -> bool:
    known = _known(table, headers)
    return known >= FEWEST and known >= CLEARLY * sum(bool(header.strip()) for header in headers)


def _known(table: str, headers: Sequence[str]) -> int:
    """Return how many columns of a table the headers name."""
    return len({found[0].column.name for header in headers if header.strip() and (found := look_up(table, header))})
