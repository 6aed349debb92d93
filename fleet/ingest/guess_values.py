"""What do a column's values look like? Numbers, dates, times of day, yes and no, free text: from a sample, for a guess.

How a log is read in the end is settled by the loader from the whole file (cells.py, dates.py); this only looks.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Sequence
from functools import cached_property
from itertools import islice

from fleet.trade.components import to_component

MONTHS = [
    "jan",
    "feb",
    "mar",
    "apr",
    "may",
    "jun",
    "jul",
    "aug",
    "sep",
    "oct",
    "nov",
    "dec",
    "ene",
    "abr",
    "ago",
    "dic",
]

_CLOCK = re.compile(
    r"([01]?\d|2[0-4])([:h][0-5]\d){1,2}\s*([ap]\.?\s*m?\.?)?|\d{1,2}(\.[0-5]\d)?\s*[ap]\.?\s*m\.?", re.IGNORECASE
)
_MILITARY = re.compile(r"([01]?\d|2[0-3])[0-5]\d")
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ]+(.*))?")
_SLASHED = re.compile(r"(\d{1,2})[-/.](\d{1,2})[-/.](\d{4}|\d{2})(?:[T ,]+(.*))?")
_SPELLED = re.compile(
    r"(?:\w{3,9},?\s+)?(?:\d{1,2}[\s-]*([a-z]{3,10})|([a-z]{3,10})\.?\s+\d{1,2})[\s,.-]+(\d{4}|\d{2})(\D.*)?",
    re.IGNORECASE,
)
_SERIAL = re.compile(r"\d{5}(\.\d+)?")
_NUMBER = re.compile(r"[-+(]?\s*[$€£]?\s*-?(\d[\d,.\s]*|\.\d+)\s*\)?\s*([a-zµμ%°\"#]{0,12}\.?)\)?", re.IGNORECASE)
_MONEY = re.compile(r"[$€£]|\bUSD\b")
_YES = frozenset({"yes", "y", "true", "t", "1", "x", "on", "si", "sí"})
_NO = frozenset({"no", "n", "false", "f", "0", "off", "-"})


LOOKED_AT = 250
"""Filled cells of a column that are looked at."""


class ColumnValues:
    """The filled cells of one column's sample, and what share of them looks like what."""

    def __init__(self, cells: Iterable[str]) -> None:
        self.cells = tuple(islice((text for cell in cells if (text := " ".join(cell.split()))), LOOKED_AT))

    def share(self, looks: Callable[[str], object]) -> float:
        """Return the share of filled cells for which ``looks`` holds, 0 where none is filled."""
        known = {cell: bool(looks(cell)) for cell in set(self.cells)}
        return sum(known[cell] for cell in self.cells) / len(self.cells) if self.cells else 0.0

    def __len__(self) -> int:
        return len(self.cells)

    @cached_property
    def distinct(self) -> tuple[str, ...]:
        """Different values, in the order they come."""
        return tuple(dict.fromkeys(self.cells))

    @cached_property
    def unique(self) -> float:
        """Different values per filled cell."""
        return len(self.distinct) / len(self.cells) if self.cells else 0.0

    @cached_property
    def numbers(self) -> tuple[float, ...]:
        """The values that are numbers, a unit or a money sign beside them not minded."""
        return tuple(value for cell in self.cells if (value := number(cell)) is not None)

    @cached_property
    def numeric(self) -> float:
        """Share of numbers."""
        return len(self.numbers) / len(self.cells) if self.cells else 0.0

    @cached_property
    def dated(self) -> float:
        """Share of dates, with or without a time of day; bare serial numbers are left out."""
        return self.share(lambda cell: is_date(cell) and not _SERIAL.fullmatch(cell))

    @cached_property
    def serial(self) -> float:
        """Share of numbers that may be a spreadsheet's days (1995 to 2050)."""
        return self.share(lambda cell: _SERIAL.fullmatch(cell) and 34_700 <= float(cell) <= 54_800)

    @cached_property
    def clock(self) -> float:
        """Share of times of day without a date."""
        spelled = self.share(is_clock)
        if spelled < 0.5 and self.cells and any(cell.startswith("0") for cell in self.cells):
            return self.share(lambda cell: _MILITARY.fullmatch(cell) and len(cell) >= 3)
        return spelled

    @cached_property
    def timed(self) -> float:
        """Share of dates that carry a time of day."""
        return self.share(lambda cell: is_date(cell) and (":" in cell or bool(re.fullmatch(r"\d{5}\.\d+", cell))))

    @cached_property
    def money(self) -> float:
        """Share of numbers with a money sign or exactly two decimals."""
        return self.share(lambda c: number(c) is not None and (_MONEY.search(c) or re.search(r"\d[.,]\d\d\)?$", c)))

    @cached_property
    def yesno(self) -> float:
        """Share of yes and no."""
        return self.share(lambda cell: cell.lower() in _YES | _NO)

    @cached_property
    def wordy(self) -> float:
        """Share of free text: three words or more."""
        return self.share(lambda cell: len(cell.split()) >= 3 and not is_date(cell))

    @cached_property
    def lettered(self) -> float:
        """Share of values with a letter in them."""
        return self.share(lambda cell: any(letter.isalpha() for letter in cell))

    @cached_property
    def fractions(self) -> float:
        """Share of numbers with decimals."""
        return self.share(lambda cell: re.fullmatch(r"\d*\.\d+", cell))

    @cached_property
    def components(self) -> float:
        """Share of values that name a component."""
        return self.share(to_component)


def number(text: str) -> float | None:
    """Return the number a text holds, None where it holds none; two ratings (``45/5``) give the first."""
    found = _NUMBER.fullmatch(text.split("/")[0] if re.fullmatch(r"[\d.]+\s*/\s*[\d.]+\D*", text) else text)
    if found is None:
        found = _NUMBER.fullmatch(re.sub(r"^([\d.]+)-[\d.]+(\D*)$", r"\1\2", text))
    if found is None:
        return None
    digits = re.sub(r"\s", "", found[1]).rstrip(".,")
    if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d+)?", digits):
        digits = digits.replace(",", "")
    elif re.fullmatch(r"\d{1,3}(\.\d{3})+,\d+|\d+,\d+", digits):
        digits = digits.replace(".", "").replace(",", ".")
    try:
        value = float(digits)
    except ValueError:
        return None
    return -value if text.lstrip("$ ").startswith(("-", "(")) else value


def is_clock(text: str) -> bool:
    """Return whether a text is a time of day and no more."""
    return bool(_CLOCK.fullmatch(text))


def is_date(text: str) -> bool:
    """Return whether a text is a date, with or without a time of day."""
    if iso := _ISO.fullmatch(text):
        return 1 <= int(iso[2]) <= 12 and 1 <= int(iso[3]) <= 31
    if slashed := _SLASHED.fullmatch(text):
        low, high = sorted((int(slashed[1]), int(slashed[2])))
        return 1 <= low <= 12 and high <= 31
    if spelled := _SPELLED.fullmatch(text):
        return (spelled[1] or spelled[2])[:3].lower() in MONTHS
    return bool(_SERIAL.fullmatch(text)) and 18_264 <= float(text) <= 73_050


def day_of(text: str, order: str) -> dt.date | None:
    """Return the day a numeric date names, None for what isn't one; ``order`` is mdy or dmy."""
    if iso := _ISO.fullmatch(text):
        year, month, day = int(iso[1]), int(iso[2]), int(iso[3])
    elif slashed := _SLASHED.fullmatch(text):
        month, day = (int(slashed[1]), int(slashed[2])) if order == "mdy" else (int(slashed[2]), int(slashed[1]))
        year = int(slashed[3]) + (2000 if len(slashed[3]) == 2 else 0)
    elif _SERIAL.fullmatch(text):
        return dt.date(1899, 12, 30) + dt.timedelta(days=int(float(text)))
    else:
        return None
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def date_order(values: Sequence[str]) -> str:
    """Return ``mdy`` or ``dmy`` where these values settle it, ``both``, ``open`` where they don't, "" for none."""
    parts = [(int(m[1]), int(m[2])) for text in values if (m := _SLASHED.fullmatch(" ".join(text.split())))]
    day_first, month_first = any(a > 12 for a, _ in parts), any(b > 12 for _, b in parts)
    if day_first or month_first:
        return "both" if day_first and month_first else "dmy" if day_first else "mdy"
    return "open" if any(a != b for a, b in parts) else ""
