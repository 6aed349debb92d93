"""How is a page laid out? Sentence, reason, picture, table with its download, and what it all rests on."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

import pandas as pd
import streamlit as st

from fleet.answer import Answer
from fleet.present.export import as_csv
from fleet.present.layouts import FOOTNOTED, headings
from fleet.present.numbers import BLANK, agreeing, left_out, percent, unbroken
from fleet.present.pictures import Picture
from fleet.present.tables import settings_text
from fleet.present.theme import Palette, palette_for
from fleet.trade.cautions import Caution

_MARKDOWN = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>~$:^=&@])")

STYLE = """<style>
.stMainBlockContainer { max-width: 1060px; padding-top: 3.5rem; }
.stMainBlockContainer p, .stMainBlockContainer li { max-width: 66ch; font-variant-numeric: tabular-nums; }
.stMainBlockContainer h1 { font-size: 16px !important; font-weight: 400; padding: 0 0 2px; opacity: 0.78; }
.stMainBlockContainer h2 { font-size: 26px !important; font-weight: 600; line-height: 1.28; max-width: 34em;
  padding: 0 0 6px; letter-spacing: 0; font-variant-numeric: tabular-nums; }
.stMainBlockContainer h3 { font-size: 16px !important; font-weight: 600; padding: 26px 0 8px; }
.stMainBlockContainer [data-testid="stHeadingWithActionElements"] a { display: none; }
.stDownloadButton button, .stButton button { min-height: 44px; }
[data-baseweb="select"] > div, .stNumberInput input, .stDateInput input { min-height: 44px; }
[data-testid="stSidebarNavLink"] { min-height: 30px; }
[data-testid="stPageLink"] a { min-height: 44px; }
@media (max-width: 640px) {
  .stMainBlockContainer { padding: 4.5rem 1rem 3rem; }
  .stMainBlockContainer h2 { font-size: 22px !important; }
  [data-testid="stSidebarNavLink"] { min-height: 44px; }
}
</style>"""
"""Two sizes and a weight; lines of 66 characters; targets of 44 px."""


def palette() -> Palette:
    """Return the palette of the theme the reader has chosen."""
    return palette_for(st.context.theme.type)


def escaped(text: str) -> str:
    """Return text that markdown shows as it is: a note in the log must not become a link, a picture or a formula."""
    return _MARKDOWN.sub(r"\\\1", unbroken(text)).replace("\n", " ")


def title(name: str) -> None:
    """Write the page's name, small, above its sentence."""
    st.title(name, anchor=False)


def say(sentence: str) -> None:
    """Write the sentence that answers the page's question."""
    st.header(escaped(sentence), anchor=False)


def tell(*sentences: str) -> None:
    """Write one paragraph."""
    said = " ".join(sentence for sentence in sentences if sentence)
    if said:
        st.markdown(escaped(said))


def bullets(sentences: Sequence[str]) -> None:
    """Write sentences as a list."""
    st.markdown("\n".join(f"- {escaped(sentence)}" for sentence in sentences))


def verdict(word: str, reason: str) -> None:
    """Write a verdict as a word in weight, with its reason beside it."""
    st.markdown(f"**{escaped(word[:1].upper() + word[1:])}.** {escaped(reason)}")


def part(name: str) -> None:
    """Begin a part of the page."""
    st.subheader(escaped(name), anchor=False)


def picture(shown: Picture) -> None:
    """Show a chart as wide as the page, in its own theme; its words are read to those who can't see it."""
    st.altair_chart(shown.chart, width="stretch", theme=None, alt=shown.said)


def pictures(shown: Sequence[Picture], *, beside: bool = True) -> None:
    """Show pictures side by side (below one another on a phone), or below one another everywhere."""
    if not beside:
        for one in shown:
            picture(one)
        return
    for column, one in zip(st.columns(len(shown) or 1, gap="large"), shown, strict=False):
        with column:
            picture(one)


def table(answer: Answer, verb: str, file_name: str, *, first: Sequence[str] = ()) -> None:
    """Show an answer's table and its download as CSV; the table on screen may hide columns, the file has them all.

    Parameters
    ----------
    verb : str
        What the button does ("Download the order").
    first : sequence of str
        Columns shown, in order; the rest is in the file.
    """
    frame(answer.table, like=answer, first=first)
    download(answer.table, verb, file_name)


def frame(rows: pd.DataFrame, *, like: Answer | None = None, first: Sequence[str] = ()) -> None:
    """Show rows, headed and written like an answer's columns; the columns of ``first`` in that order."""
    order = [name for name in first if name in rows.columns] or None
    config = {} if like is None else column_headings(like)
    shares = [] if like is None else [name for name in _shares(like) if name in rows.columns]
    # a share is written as words say it ("over 99 %") and still sorted by its number
    shown = rows.style.format(dict.fromkeys(shares, _share_cell)) if shares and len(rows) else rows
    st.dataframe(shown, hide_index=True, column_config=config, column_order=order, placeholder=BLANK)


def column_headings(answer: Answer) -> dict[str, Any]:
    """Return how Streamlit heads and writes an answer's columns: the layout's words, the meaning on demand."""
    shown = headings(answer)
    config = {}
    for column in answer.columns:
        label, style = shown.get(column.name, (column.name.replace("_", " "), column.kind))
        config[column.name] = _column(label, style, column.meaning)
    return config


def download(rows: pd.DataFrame, verb: str, file_name: str, *, key: str = "") -> None:
    """Offer rows as a CSV file that no spreadsheet runs as a program."""
    st.download_button(
        verb, as_csv(rows), file_name=file_name, mime="text/csv", key=key or file_name, on_click="ignore"
    )


def download_later(make: Callable[[], str], verb: str, file_name: str) -> None:
    """Offer a CSV text that takes reading the kept sources: made when the button is pressed."""
    st.download_button(verb, make, file_name=file_name, mime="text/csv", key=file_name, on_click="ignore")


def rests_on(answer: Answer) -> None:
    """Say what an answer rests on: its day, its records, what was left out, notes, settings and method."""
    tell(
        f"As of {answer.as_of}, from {answer.n_used:,} records of {answer.provenance.data_version}.",
        left_out(answer.excluded),
    )
    with st.expander("What this rests on"):
        bullets([agreeing(note) for note in answer.notes])
        if answer.settings:
            tell(f"Settings: {settings_text(answer.settings)}.")
        tell(f"Method: {answer.method}")
        bullets([agreeing(reason) for reason in _reasons(answer)])


def cautions(sentences: Sequence[Caution], *, heading: str = "Before you reach in") -> None:
    """Write cautions where the hand is, in full sentences."""
    part(heading)
    bullets([caution.text for caution in sentences])


def nothing_loaded(reason: str, store: str) -> None:
    """Say that there is no log yet and which command loads one."""
    title("Dogdays")
    say("Nothing is loaded yet.")
    tell(f"{reason[:1].upper()}{reason[1:]}." if not reason.endswith(".") else reason)
    tell("Load a folder of CSV files, one CSV file or one SQLite file, then open this page again:")
    st.code(f"dogdays load FOLDER_OR_FILE --store {store}", language=None)


def cannot(reason: str) -> None:
    """Say why a page has no answer, in the words of the error."""
    say("This can't be answered as asked.")
    tell(f"{reason[:1].upper()}{reason[1:]}.")


def failed() -> None:
    """Say that the program, not the reader, made a mistake."""
    say("This page can't be shown: the program has made a mistake.")
    tell("What went wrong stands in the window in which the dashboard was started. The other pages still work.")


def _share_cell(share: object) -> str:
    return percent(share).replace("less than", "under")


def _shares(answer: Answer) -> list[str]:
    """Return the columns that are written as percent."""
    return [name for name, (_, style) in headings(answer).items() if style == "share"]


def _reasons(answer: Answer) -> list[str]:
    """Return the reasons for blank cells, each once."""
    said = [answer.table[name] for name in FOOTNOTED if name in answer.table.columns]
    found = {str(note): None for column in said for note in column.dropna() if note}
    return list(found)[:12]


_FORMATS = {
    "money": "%.2f",
    "count": "%d",
    "number": "%.3g",
    "estimate": "%.3g",
    "pct": "%+.1f",
    "chance": "%.3f",
}


def _column(label: str, style: str, meaning: str) -> Any:  # noqa: ANN401 (Streamlit's own types are private)
    if style in _FORMATS:
        return st.column_config.NumberColumn(label, help=meaning, format=_FORMATS[style])
    return st.column_config.Column(label, help=meaning)
