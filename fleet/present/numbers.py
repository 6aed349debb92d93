"""How would a person say this number? The one formatter of counts, money, rates, shares, dates and blanks.

An estimate is rounded to what its interval allows, and the interval is said with it: "about 12, 8 to 17".
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from typing import SupportsFloat

import pandas as pd

BLANK = "–"
"""What stands where there is no value; the reason stands in the column ``note``."""

WHOLE_DOLLARS_FROM = 100.0
"""Money of at least this much is said in whole dollars."""

_SHOWN_NAMES = 5

_NOUNS = (
    "visits", "failures", "units", "lives", "parts", "readings", "records", "events", "calls", "lines", "groups",
    "components", "days", "sections", "rows", "buildings", "lots", "meters", "chains", "stretches", "candidates",
)  # fmt: skip
_VERBS = {
    "have": "has", "are": "is", "were": "was", "do": "does", "don't": "doesn't", "aren't": "isn't", "weren't": "wasn't",
    **{verb: f"{verb}s" for verb in ("fall", "lie", "show", "fail", "name", "end", "count", "jump", "come", "take")},
}  # fmt: skip
_ONE = re.compile(rf"(?<![\w.,:/-])1 ((?:[a-z]+-[a-z]+ )?)({'|'.join(_NOUNS)})\b(?: ({'|'.join(_VERBS)})\b)?(?!-)")
_ONE_OF = re.compile(rf"(?<![\w.,:/-])(1 of [\d,]+ (?:[a-z]+-[a-z]+ )?(?:{'|'.join(_NOUNS)})) ({'|'.join(_VERBS)})\b")
_WHOLE_FROM = 10.0  # estimates of at least this much are said without decimals


def is_blank(value: object) -> bool:
    """Say whether there is no value here: None, NaN, NaT or empty text."""
    if value is None or (isinstance(value, str) and value == ""):
        return True
    missing = pd.isna(value) if not isinstance(value, (list, tuple, dict)) else False  # type: ignore[call-overload]
    return bool(missing)


def finite(value: object) -> float | None:
    """Return a value as a float where it is a finite number, else None."""
    if is_blank(value) or isinstance(value, str) or not isinstance(value, SupportsFloat):
        return None
    number = float(value)
    return number if math.isfinite(number) else None


def about(value: object, low: object = None, high: object = None, *, unit: str = "") -> str:
    """Say an estimate with its interval.

    Parameters
    ----------
    value, low, high : number or blank
        The estimate and its bounds; a blank estimate gives "not enough data".
    unit : str
        Said after the estimate, not after each bound.

    Examples
    --------
    >>> about(11.7, 8.2, 17.4)
    'about 12, 8 to 17'
    >>> about(0.459, 0.41, 0.512, unit="failures a unit-year")
    'about 0.46 failures a unit-year, 0.41 to 0.51'
    """
    middle, bottom, top = finite(value), finite(low), finite(high)
    if middle is None:
        return "not enough data"
    step = _step(middle, bottom, top)
    said = f"about {_at_step(middle, step)}{' ' + unit if unit else ''}"
    return said if bottom is None or top is None else f"{said}, {_at_step(bottom, step)} to {_at_step(top, step)}"


def with_interval(value: object, low: object = None, high: object = None, *, ratio: bool = False) -> str:
    """Write an estimate and its interval as one table cell: "0.46 (0.41 to 0.51)".

    The interval of a ``ratio`` is lopsided: its short side says how fine the numbers are, "1.9 (0.7 to 5.6)".
    """
    middle, bottom, top = finite(value), finite(low), finite(high)
    if middle is None:
        return BLANK
    short = ratio and bottom is not None and top is not None and bottom < middle < top
    step = _step(middle, bottom, 2 * middle - bottom if short and bottom is not None else top)
    said = _at_step(middle, step)
    return said if bottom is None or top is None else f"{said} ({_at_step(bottom, step)} to {_at_step(top, step)})"


def count_to_come(expected: object, low: object, high: object) -> str:
    """Write an expected count, finer than a count, with the whole counts it will likely lie between: "2.6 (0 to 6)"."""
    bounds = finite(low), finite(high)
    if finite(expected) is None or None in bounds:
        return estimate(expected)
    return f"{estimate(expected)} ({bounds[0]:,.0f} to {bounds[1]:,.0f})"


def money(value: object) -> str:
    """Say money: whole dollars from 100 on, cents below.

    Examples
    --------
    >>> money(2309.6), money(14.8), money(-250)
    ('$2,310', '$14.80', '-$250')
    """
    number = finite(value)
    if number is None:
        return BLANK
    sign = "-" if number <= -0.005 else ""
    size = abs(number)
    return f"{sign}${size:,.2f}" if round(size, 2) < WHOLE_DOLLARS_FROM else f"{sign}${size:,.0f}"


def percent(share: object) -> str:
    """Say a share between 0 and 1 as percent; near the ends as "less than 1 %" and "over 99 %".

    Examples
    --------
    >>> percent(0.074), percent(0.31), percent(0.002), percent(0.0), percent(0.997)
    ('7 %', '31 %', 'less than 1 %', '0 %', 'over 99 %')
    """
    number = finite(share)
    if number is None:
        return BLANK
    if 0 < number < 0.01:
        return "less than 1 %"
    if 0.99 < number < 1:
        return "over 99 %"
    return f"{100 * number:.0f} %"


def signed_pct(value: object, *, digits: int = 1) -> str:
    """Say a deviation already in percent with its sign: "-4.2 %"."""
    number = finite(value)
    if number is None:
        return BLANK
    shown = round(number, digits)
    return f"{shown:+.{digits}f} %" if shown else f"{0:.{digits}f} %"


def counted(number: float, one: str, many: str = "") -> str:
    """Say how many of something: "1 part", "46 parts", "1,204 visits", "no parts"."""
    noun = one if round(number) == 1 else many or one + "s"
    return f"no {noun}" if round(number) == 0 else f"{number:,.0f} {noun}"


def agreeing(text: str) -> str:
    """Let the noun and the verb after a one agree with it: notes are written for many.

    Examples
    --------
    >>> agreeing("1 visits fall outside every service period; 21 visits fall elsewhere")
    '1 visit falls outside every service period; 21 visits fall elsewhere'
    >>> agreeing("1 of 40 units have no installation date")
    '1 of 40 units has no installation date'
    """
    return _ONE_OF.sub(_singular_verb, _ONE.sub(_singular, text))


def left_out(excluded: Mapping[str, int]) -> str:
    """Say in one sentence what an answer leaves out and why; blank where nothing was."""
    said = [agreeing(f"{count:,} {reason}") for reason, count in excluded.items() if count]
    return f"Left out: {'; '.join(said)}." if said else ""


def day(value: object, *, beside: dt.date | None = None) -> str:
    """Say a date: "April 9, 2026"; without the year where ``beside`` lies in the same one."""
    date = as_date(value)
    if date is None:
        return str(value) if isinstance(value, str) and value else BLANK
    said = f"{date:%B} {date.day}"
    return said if beside is not None and beside.year == date.year else f"{said}, {date.year}"


def month(text: str) -> str:
    """Say a month written YYYY-MM: "April 2026"; other text is returned as it is."""
    date = as_date(f"{text}-01")
    return text if date is None else f"{date:%B} {date.year}"


def as_date(value: object) -> dt.date | None:
    """Return a date from a date, a timestamp or ISO text, None from anything else."""
    if is_blank(value):
        return None
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    try:
        return dt.date.fromisoformat(str(value)[:10])
    except ValueError:
        return None


def listed(names: Sequence[str], *, limit: int = _SHOWN_NAMES) -> str:
    """Join names as a person would, at most ``limit`` of them: "3, 7 and 11", "1, 2, 3, 4, 5 and 7 more"."""
    shown = list(names[:limit])
    rest = len(names) - len(shown)
    if rest:
        return f"{', '.join(shown)} and {rest} more"
    if len(shown) < 2:
        return "".join(shown)
    return f"{', '.join(shown[:-1])} and {shown[-1]}"


def places(pairs: Sequence[tuple[str, str]], *, limit: int = _SHOWN_NAMES) -> str:
    """Name buildings by their property, each property once: "Juniper 3 and 7, Alder 2"."""
    shown = list(pairs[:limit])
    by_property: dict[str, list[str]] = {}
    for prop, building in shown:
        by_property.setdefault(prop, []).append(building)
    said = [f"{prop} {listed(names)}".strip() for prop, names in by_property.items()]
    rest = len(pairs) - len(shown)
    return ", ".join(said) + (f" and {rest} more" if rest else "")


def plain_number(value: object) -> str:
    """Write a number as it stands in a table: whole where it is whole, else three significant digits."""
    number = finite(value)
    if number is None:
        return BLANK
    if number == round(number) or abs(number) >= 1000:
        return f"{number + 0.0:,.0f}"
    digits = max(0, 2 - math.floor(math.log10(abs(number))))
    return f"{number:.{min(digits, 4)}f}"


def estimate(value: object) -> str:
    """Write an estimate as it stands in a table, without false precision: whole from 10 on, else two digits at most.

    Examples
    --------
    >>> estimate(12.34), estimate(3.93), estimate(0.0483), estimate(0.001)
    ('12', '3.9', '0.05', '0.00')
    """
    number = finite(value)
    if number is None:
        return BLANK
    size = abs(number)
    if size >= _WHOLE_FROM or number == round(number):
        return f"{number + 0.0:,.0f}"
    return f"{number:.1f}" if size >= 1 else f"{number:.2f}"


def unbroken(text: str) -> str:
    """Tie a number to its unit, so that no line ends between them on a page or in a title."""
    for unit in ("%", "µF", "oz"):
        text = text.replace(f" {unit}", f"\N{NO-BREAK SPACE}{unit}")
    return text


def _singular(found: re.Match[str]) -> str:
    kind, noun, verb = found.groups()
    one = "life" if noun == "lives" else "stretch" if noun == "stretches" else noun.removesuffix("s")
    return f"1 {kind}{one}" + (f" {_VERBS[verb]}" if verb else "")


def _singular_verb(found: re.Match[str]) -> str:
    return f"{found[1]} {_VERBS[found[2]]}"


def _step(value: float, low: float | None, high: float | None) -> float:
    """Choose the decimal step the interval allows; without one, two significant digits."""
    finest = 1.0 if abs(value) >= _WHOLE_FROM else 0.0
    if low is not None and high is not None and high > low:
        return max(finest, float(10.0 ** math.floor(math.log10((high - low) / 4))))
    if value == 0:
        return 1.0
    return max(finest, float(10.0 ** (math.floor(math.log10(abs(value))) - 1)))


def _at_step(value: float, step: float) -> str:
    digits = max(0, -round(math.log10(step)))
    rounded = round(value / step) * step
    return f"{0.0 if abs(rounded) < step / 2 else rounded:,.{digits}f}"
