"""One column of a text table: its heading, the answer's columns behind it, how it is written, how long it stays."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One column of a text table.

    Attributes
    ----------
    header : str
        Heading, with the unit where there is one.
    columns : tuple of str
        The answer's column, or the estimate, its low and its high.
    style : str
        text, count, number, estimate, money, share, shares, pct, date, yesno, chance, interval, ratio or
        expected (a count to come).
    rank : int
        1 stays longest; the highest goes first when space is short.
    total : str
        What a blank text key means in this column ("all together").
    """

    header: str
    columns: tuple[str, ...]
    style: str
    rank: int
    total: str = ""


def text(column: str, rank: int, header: str = "", *, total: str = "") -> Shown:
    """Return a column of words; ``total`` is what a blank means there."""
    return Shown(header=header or column.replace("_", " "), columns=(column,), style="text", rank=rank, total=total)


def one(style: str, column: str, rank: int, header: str = "") -> Shown:
    """Return a column of single values in a style of `Shown`."""
    return Shown(header=header or column.replace("_", " "), columns=(column,), style=style, rank=rank)


def interval(header: str, columns: tuple[str, str, str], rank: int) -> Shown:
    """Return a column of estimates with their bounds."""
    return Shown(header=header, columns=columns, style="interval", rank=rank)


def ratio(header: str, columns: tuple[str, str, str], rank: int) -> Shown:
    """Return a column of ratios with their lopsided bounds."""
    return Shown(header=header, columns=columns, style="ratio", rank=rank)


def shares(header: str, columns: tuple[str, str, str], rank: int) -> Shown:
    """Return a column of shares with their bounds, in percent."""
    return Shown(header=header, columns=columns, style="shares", rank=rank)


PROPERTY = text("property", 1, total="all")
"""Which complex; one property alone is said above the table instead."""
