"""Whether 03/04 is March or April: settled once per column and file from the whole column, or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.errors import SourceError
from fleet.ingest.raw import RawTable
from fleet.store.database import Database

SLASHED = r"^\s*\d{1,2}[-./]\d{1,2}[-./](\d{4}|\d{2})(\D|$)"
FIRST = r"^\s*(\d{1,2})[-./]"
SECOND = r"^\s*\d{1,2}[-./](\d{1,2})[-./]"


@dataclass(frozen=True, slots=True, kw_only=True)
class DateOrder:
    """The order of day and month in one column: ``mdy``, ``dmy``, or ``iso`` where it doesn't arise."""

    column: str
    order: str
    said: str


def settle_dates(
    database: Database, raw: RawTable, columns: Sequence[tuple[int, str]], forced: str | None
) -> dict[str, DateOrder]:
    """Settle the order of day and month for each date column of a raw table.

    Parameters
    ----------
    columns : sequence of (position, column name)
    forced : {"mdy", "dmy"} or None
        What the user said; it always wins.

    Raises
    ------
    SourceError
        If a column holds dates whose order no value settles, or values that speak for both.
    """
    if not columns:
        return {}
    shapes = ", ".join(_shape(f"c{position}") for position, _ in columns)
    made = "create or replace table memory.main.date_shapes as select"
    raw.run(database, lambda relation: f"{made} {shapes} from {relation}")
    counts = database.rows("from memory.main.date_shapes")[0]
    settled = {}
    for i, (_, name) in enumerate(columns):
        slashed, day_first, month_first, differing = (int(n) for n in counts[4 * i : 4 * i + 4])
        settled[name] = _decide(raw.name, name, forced, slashed=slashed, counts=(day_first, month_first, differing))
    return settled


def _shape(cell: str) -> str:
    """Return SQL counts of one column: slashed dates, first part over 12, second over 12, the two differing."""
    first = f"try_cast(regexp_extract({cell}, '{FIRST}', 1) as int)"
    second = f"try_cast(regexp_extract({cell}, '{SECOND}', 1) as int)"
    slashed = f"regexp_matches({cell}, '{SLASHED}')"
    return ", ".join(
        f"count(*) filter ({slashed} and {condition})"
        for condition in ("true", f"{first} > 12", f"{second} > 12", f"{first} <> {second}")
    )


def _decide(source: str, column: str, forced: str | None, *, slashed: int, counts: tuple[int, int, int]) -> DateOrder:
    day_first, month_first, differing = counts
    if not slashed:
        return DateOrder(column=column, order="iso", said="")
    if forced:
        return DateOrder(column=column, order=forced, said=f"{source}: {column} read as {forced}, as told")
    if day_first and month_first:
        msg = (
            f"{source}: {column} holds dates that can only be day/month ({day_first}) and dates that can only be "
            f"month/day ({month_first}); say which holds with --dates mdy or --dates dmy"
        )
        raise SourceError(msg)
    if not day_first and not month_first and differing:
        msg = (
            f"{source}: no value of {column} settles whether its dates are month/day or day/month; "
            "say so with --dates mdy or --dates dmy"
        )
        raise SourceError(msg)
    order = "dmy" if day_first else "mdy"
    evidence = day_first or month_first
    return DateOrder(
        column=column, order=order, said=f"{source}: {column} read as {order}; {evidence} of {slashed} values settle it"
    )
