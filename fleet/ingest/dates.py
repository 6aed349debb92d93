"""Whether 03/04 is March or April: settled once per column and file from the whole column, or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.errors import SourceError
from fleet.ingest.raw import RawTable
from fleet.store.database import Database

_FRONT = r"(?i)^\W*(?:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*\W+)?"
SLASHED = _FRONT + r"\d{1,2} ?[-./] ?\d{1,2} ?[-./] ?(\d{4}|\d{2})(\D|$)"
FIRST = _FRONT + r"(\d{1,2}) ?[-./]"
SECOND = _FRONT + r"\d{1,2} ?[-./] ?(\d{1,2}) ?[-./]"
"""Slashed dates, a weekday in front or not, and their first two numbers; read by Python and by DuckDB alike."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DateOrder:
    """The order of day and month in one column: ``mdy``, ``dmy``, or ``iso`` where it doesn't arise."""

    column: str
    order: str
    said: str


@dataclass(frozen=True, slots=True)
class Shapes:
    """Counts over a column: slashed dates, those only day/month, those only month/day, those that may be either.

    What is no date in any order ("13/13/2024") speaks for none; where both numbers are the same, nothing is asked.
    """

    slashed: int
    day_first: int
    month_first: int
    differing: int

    def __add__(self, other: Shapes) -> Shapes:
        return Shapes(*(getattr(self, name) + getattr(other, name) for name in self.__slots__))


def settle_dates(
    database: Database, raw: RawTable, columns: Sequence[tuple[int, str]], forced: str | None
) -> dict[str, DateOrder]:
    """Settle the order of day and month for some date columns of a raw table, from the whole of it.

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
    asked = ", ".join(shapes_sql(f"c{position}") for position, _ in columns)
    made = "create or replace table memory.main.date_shapes as select"
    raw.run(database, lambda relation: f"{made} {asked} from {relation}")
    counts = [int(n) for n in database.rows("from memory.main.date_shapes")[0]]
    settled = {}
    for i, (_, name) in enumerate(columns):
        shapes = Shapes(*counts[4 * i : 4 * i + 4])
        if shapes.slashed:
            settled[name] = decide_order(raw.name, name, forced, shapes)
    return settled


def shapes_sql(cell: str) -> str:
    """Return the SQL of the four counts of Shapes over one cell."""
    first = f"try_cast(regexp_extract({cell}, '{FIRST}', 1) as int)"
    second = f"try_cast(regexp_extract({cell}, '{SECOND}', 1) as int)"
    slashed = f"regexp_matches({cell}, '{SLASHED}')"
    conditions = (
        "true",
        f"{first} between 13 and 31 and {second} <= 12",
        f"{second} between 13 and 31 and {first} <= 12",
        f"{first} <> {second} and {first} <= 12 and {second} <= 12",
    )
    return ", ".join(f"count(*) filter ({slashed} and {condition})" for condition in conditions)


def decide_order(source: str, column: str, forced: str | None, shapes: Shapes) -> DateOrder:
    """Decide a column's order from its counts; SourceError where they don't settle it."""
    if forced:
        return DateOrder(column=column, order=forced, said=f"{source}: {column} read as {forced}, as told")
    if shapes.day_first and shapes.month_first:
        msg = (
            f"{source}: {column} holds dates that can only be day/month ({shapes.day_first}) and dates that can only "
            f"be month/day ({shapes.month_first}); say which holds with --dates mdy or --dates dmy"
        )
        raise SourceError(msg)
    if not shapes.day_first and not shapes.month_first and shapes.differing:
        msg = (
            f"{source}: no value of {column} settles whether its dates are month/day or day/month; "
            "say so with --dates mdy or --dates dmy"
        )
        raise SourceError(msg)
    order = "dmy" if shapes.day_first else "mdy"
    evidence = shapes.day_first or shapes.month_first
    said = f"{source}: {column} read as {order}; {evidence} of {shapes.slashed} values settle it"
    if not evidence:
        said = f"{source}: {column} read as {order}; every value is the same day either way"
    return DateOrder(column=column, order=order, said=said)
