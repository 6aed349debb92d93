"""Write an answer as text that reads well at 80 columns: its sentence, its table, and what stands behind it.

Where the columns don't fit, the least needed are dropped and named below the table; CSV and JSON have them all.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from fleet.answer import Answer, AnswerColumn
from fleet.present.layouts import FOOTNOTED, Shown, layouts_of, reading_order
from fleet.present.numbers import (
    BLANK,
    agreeing,
    as_date,
    count_to_come,
    counted,
    estimate,
    finite,
    is_blank,
    left_out,
    percent,
    plain_number,
    signed_pct,
    with_interval,
)
from fleet.present.sentences import opening

WIDTH = 80

_GAP = 2
_WRAPPED_MIN = 18
_LEFT = ("text", "date", "yesno")

SAID_ABOVE = ("property", "component", "equipment_id")
"""Columns said once above a table where they are the same in every row."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Laid:
    """A column laid out: its heading and every cell as text."""

    shown: Shown
    cells: tuple[str, ...]

    @property
    def natural(self) -> int:
        return max(len(self.shown.header), *(len(cell) for cell in self.cells), 1)

    @property
    def tight(self) -> int:
        """The width with a heading of several lines."""
        words = self.shown.header.split() or [""]
        return max(max(map(len, words)), *(len(cell) for cell in self.cells), 1)

    @property
    def least(self) -> int:
        return min(self.tight, _WRAPPED_MIN) if self.shown.style == "text" else self.tight

    @property
    def on_left(self) -> bool:
        return self.shown.style in _LEFT


def as_text(answer: Answer, width: int = WIDTH, *, limit: int | None = None) -> str:
    """Write a whole answer for the terminal: opening sentence, table, what was left out, notes, settings, method.

    Parameters
    ----------
    answer : Answer
    width : int
        Columns of the terminal; at least 40 are used.
    limit : int, optional
        Show this many rows at most; how many more there are is said.

    Notes
    -----
    For the table alone use `table_text`; for a machine `fleet.present.export.as_csv` or `as_json`.
    """
    width = max(width, 40)
    parts = [_wrapped(opening(answer), width), table_text(answer, width, limit=limit), behind(answer, width)]
    return "\n\n".join(part for part in parts if part) + "\n"


def table_text(table: Answer | pd.DataFrame, width: int = WIDTH, *, limit: int | None = None) -> str:
    """Write only the table; a DataFrame is shown with its own columns.

    What is the same in every row (one property, one component) is said above the table, not in it. An answer with two
    layouts is written as two tables of the same rows.
    """
    answer = table if isinstance(table, Answer) else _bare(table)
    order = reading_order(answer)
    rows = order.table if limit is None else order.table.head(limit)
    if rows.empty:
        return ""
    width = max(width, 40)
    marks, footnotes = _footnotes(rows)
    lines: list[str] = []
    dropped: list[_Laid] = []
    for layout in layouts_of(answer):
        laid = [_lay(shown, rows) for shown in layout if not set(shown.columns) & set(order.told)]
        laid = [column for column in laid if not _says_nothing(column)]
        same = [column for column in laid if _above(column, answer)]
        kept, left = _fit([column for column in laid if column not in same], width, rows)
        dropped += left
        if any(marks):
            kept.append(_Laid(shown=Shown(header="", columns=(), style="text", rank=0), cells=tuple(marks)))
        above = [f"{column.shown.header.capitalize()}: {column.cells[0]}" for column in same]
        lines += ["", *_draw(kept, width)] if lines else above + _draw(kept, width)
    lines += _below(dropped, len(order.table) - len(rows), width) + _noted(footnotes, width)
    lines += [_wrapped(order.remark, width)] if order.remark else []
    return "\n".join(lines)


def behind(answer: Answer, width: int = WIDTH) -> str:
    """Write what stands behind an answer: what was left out, notes, settings, method, data."""
    lines = [_wrapped(said, width) for said in (left_out(answer.excluded),) if said]
    lines += [_wrapped(agreeing(note), width, indent="  ", first="- ") for note in answer.notes]
    chosen = settings_text(answer.settings)
    if chosen:
        lines.append(_wrapped(f"Settings: {chosen}.", width))
    lines.append(_wrapped(f"Method: {answer.method}", width))
    version = answer.provenance
    lines.append(
        _wrapped(
            f"As of {answer.as_of}; rests on {counted(answer.n_used, 'record')}; data {version.data_version}, "
            f"dogdays {version.package_version}.",
            width,
        )
    )
    return "\n".join(lines)


def settings_text(settings: Mapping[str, object]) -> str:
    """Write an answer's settings in one line."""
    given = {name: value for name, value in settings.items() if name != "as_of" and value not in (None, (), "")}
    return ", ".join(f"{name.replace('_', '-')} {_setting(value)}" for name, value in given.items())


def cell_text(shown: Shown, values: Sequence[object]) -> str:
    """Write one cell in the form its column asks for."""
    value = values[0]
    if shown.style == "ratio" and finite(values[0]) is None and finite(values[1]):
        return f"at least {estimate(values[1])}"
    if shown.style in ("interval", "ratio"):
        return with_interval(*values, ratio=shown.style == "ratio")
    if shown.style == "expected":
        return count_to_come(*values)
    if shown.style == "shares":
        return _share_interval(values)
    if is_blank(value):
        return shown.total or BLANK
    write = _WRITERS.get(shown.style, str)
    return " ".join(write(value).split())


def _count(value: object) -> str:
    return str(value) if finite(value) is None else f"{finite(value):,.0f}"


def _cents(value: object) -> str:
    return str(value) if finite(value) is None else f"{finite(value):,.2f}"


def _deviation(value: object) -> str:
    return signed_pct(value).removesuffix(" %")


def _iso(value: object) -> str:
    date = as_date(value)
    return str(value) if date is None else date.isoformat()


def _yes_or_no(value: object) -> str:
    return "yes" if str(value).lower() in ("yes", "true") else "no"


def _setting(value: object) -> str:
    if isinstance(value, (list, tuple)):
        return " and ".join(str(item) for item in value)
    return str(value)


def _chance(value: object) -> str:
    number = finite(value)
    if number is None:
        return BLANK
    return "< 0.001" if number < 0.001 else f"{number:.3f}"


_WRITERS: Mapping[str, Callable[[object], str]] = {
    "count": _count,
    "number": plain_number,
    "estimate": estimate,
    "money": _cents,
    "share": percent,
    "pct": _deviation,
    "chance": _chance,
    "date": _iso,
    "yesno": _yes_or_no,
}


def _share_interval(values: Sequence[object]) -> str:
    numbers = [finite(value) for value in values]
    scaled = [None if number is None else 100 * number for number in numbers]
    said = with_interval(*scaled)
    return said if said == BLANK else f"{said} %"


def _bare(frame: pd.DataFrame) -> Answer:
    """Take a plain table as an answer so that both are drawn alike."""
    kinds = [
        AnswerColumn(
            name=str(name), kind="number" if pd.api.types.is_numeric_dtype(frame[name]) else "text", meaning=""
        )
        for name in frame.columns
    ]
    named = frame.set_axis([column.name for column in kinds], axis=1)
    no_day = pd.Timestamp(0).date()
    return Answer(name="", as_of=no_day, method="", n_used=len(frame), table=named, columns=tuple(kinds))


def _lay(shown: Shown, rows: pd.DataFrame) -> _Laid:
    columns = [rows[name].tolist() for name in shown.columns]
    return _Laid(shown=shown, cells=tuple(cell_text(shown, values) for values in zip(*columns, strict=True)))


def _above(column: _Laid, answer: Answer) -> bool:
    """Whether every row of the answer is of one property, or one component, so that it is said once above them."""
    name = column.shown.columns[0]
    alike = name in SAID_ABOVE and len(set(answer.table[name])) == 1
    return alike and (name == "property" or len(answer.table) > 1)


def _says_nothing(column: _Laid) -> bool:
    """Whether a column is the same blank or the same total all the way down."""
    return set(column.cells) <= {BLANK, column.shown.total or BLANK}


def _fit(columns: list[_Laid], width: int, rows: pd.DataFrame) -> tuple[list[_Laid], list[_Laid]]:
    """Drop the least needed columns until the rest fit; the last of equal rank goes first."""
    noted = [name for name in FOOTNOTED if name in rows.columns and not all(map(is_blank, rows[name]))]
    room = width - (6 if noted else 0)
    kept, dropped = list(columns), []
    while len(kept) > 1 and sum(column.least for column in kept) + _GAP * (len(kept) - 1) > room:
        worst = max(range(len(kept)), key=lambda i: (kept[i].shown.rank, i))
        dropped.append(kept.pop(worst))
    return kept, dropped


def _widths(columns: Sequence[_Laid], width: int) -> list[int]:
    """Give every column its natural width; where that is too much, fold headings first, then the longest texts."""
    widths = [column.natural for column in columns]
    for floor in ([column.tight for column in columns], [column.least for column in columns]):
        for i in sorted(range(len(columns)), key=lambda i: -widths[i]):
            excess = sum(widths) + _GAP * (len(columns) - 1) - width
            widths[i] -= max(0, min(excess, widths[i] - floor[i]))
    return widths


def _draw(columns: Sequence[_Laid], width: int) -> list[str]:
    widths = _widths(columns, width)
    lines = _row([column.shown.header for column in columns], columns, widths, on_floor=True)
    lines.append("─" * min(width, sum(widths) + _GAP * (len(widths) - 1)))
    for i in range(len(columns[0].cells)):
        lines += _row([column.cells[i] for column in columns], columns, widths)
    return lines


def _row(cells: Sequence[str], columns: Sequence[_Laid], widths: Sequence[int], *, on_floor: bool = False) -> list[str]:
    """Write one row, over several lines where a cell needs them; headings stand on the floor of theirs."""
    wrapped = [
        textwrap.wrap(cell, room, break_on_hyphens=False) or [""] for cell, room in zip(cells, widths, strict=True)
    ]
    height = max(len(cell) for cell in wrapped)
    if on_floor:
        wrapped = [[""] * (height - len(cell)) + cell for cell in wrapped]
    lines = []
    for i in range(height):
        pieces = [
            (piece.ljust(room) if column.on_left else piece.rjust(room))
            for piece, column, room in zip(
                [cell[i] if i < len(cell) else "" for cell in wrapped], columns, widths, strict=True
            )
        ]
        lines.append((" " * _GAP).join(pieces).rstrip())
    return lines


def _footnotes(rows: pd.DataFrame) -> tuple[list[str], list[str]]:
    """Collect the sentences of the note columns: each row's mark, and the sentences in order."""
    present = [name for name in FOOTNOTED if name in rows.columns]
    sentences: dict[str, int] = {}
    marks = []
    for values in zip(*(rows[name] for name in present), strict=True):
        said = [str(value) for value in values if not is_blank(value)]
        numbers = [sentences.setdefault(agreeing(sentence), len(sentences) + 1) for sentence in said]
        marks.append(" ".join(f"[{number}]" for number in numbers))
    return marks, list(sentences)


def _below(dropped: Sequence[_Laid], n_more: int, width: int) -> list[str]:
    lines = []
    if n_more > 0:
        lines.append(f"… and {counted(n_more, 'more row')}.")
    if dropped:
        names = ", ".join(name for column in reversed(dropped) for name in column.shown.columns)
        lines.append(_wrapped(f"Not shown here for want of space: {names} (CSV and JSON have them).", width))
    return lines


def _noted(footnotes: Sequence[str], width: int) -> list[str]:
    return [
        _wrapped(sentence, width, indent="    ", first=f"[{number}] ".ljust(4))
        for number, sentence in enumerate(footnotes, 1)
    ]


def _wrapped(text: str, width: int, *, indent: str = "", first: str = "") -> str:
    return textwrap.fill(text, min(width, 100), initial_indent=first, subsequent_indent=indent, break_on_hyphens=False)
