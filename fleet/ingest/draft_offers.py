"""What a draft mapping offers to be switched on: spellings that may be one, words no short list knows."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fleet.ingest.guess_file import GuessedFile
from fleet.ingest.mapping import SHEET_NAMES, columns_of
from fleet.ingest.names import plain_name
from fleet.ingest.words import WORD_SYNONYMS, understand_word
from fleet.store.schema import Column
from fleet.trade.components import component_synonyms

SPELLED = (
    "property",
    "building",
    "equipment_id",
    "technician",
    "vendor",
    "part_no",
    "model",
    "model_family",
    "meter",
    "location",
)
"""Columns whose values are gathered under one spelling."""

MOST_SAME, MOST_WORDS = 12, 15
"""Offers a column; the rest is only counted."""


@dataclass(frozen=True, slots=True)
class SameOffer:
    """Spellings that differ only by case, spaces, punctuation or leading zeros; ``keep`` is the most frequent."""

    column: str
    keep: str
    written: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WordOffer:
    """A word no short list knows, how often the sample has it, and what it may mean (blank: no idea)."""

    column: str
    written: str
    times: int
    means: str
    allowed: tuple[str, ...]


def same_offers(files: Sequence[GuessedFile]) -> list[SameOffer]:
    """Return the spellings of tags, places and people that may be one, column by column."""
    counts: dict[str, Counter[str]] = {}
    for _, column, cells in _filled(files):
        if column.name in SPELLED:
            name = "building" if column.name == "location" else column.name
            counts.setdefault(name, Counter()).update(" ".join(cell.split()) for cell in cells)
    offers = []
    for name, count in counts.items():
        groups: dict[str, list[str]] = {}
        for spelling in count:
            groups.setdefault(plain_name(spelling), []).append(spelling)
        for key, spellings in groups.items():
            keep, *others = sorted(spellings, key=lambda one: (-count[one], one))
            # a mapping doesn't tell case and spaces apart, so such a spelling is offered once
            told = {keep.casefold(): ""} | {one.casefold(): one for one in others if one.casefold() != keep.casefold()}
            written = tuple(one for one in told.values() if one) or tuple(others[:1])
            if key and written:
                offers.append(SameOffer(name, keep, written))
    return offers


def word_offers(files: Sequence[GuessedFile]) -> list[WordOffer]:
    """Return the words of short lists that aren't understood, the most frequent of each column first."""
    counts: dict[str, Counter[str]] = {}
    asked: dict[str, Column] = {}
    for table, column, cells in _filled(files):
        if column.kind in ("word", "component"):
            place = SHEET_NAMES.get(column.name, (table, column.name))
            name = f"{place[0]}.{place[1]}" if place[1] in ("component", "why") else place[1]
            asked[name] = column
            counts.setdefault(name, Counter()).update(" ".join(cell.split()).casefold() for cell in cells)
    offers = []
    for name, count in counts.items():
        column = asked[name]
        unknown = [(word, n) for word, n in count.most_common() if understand_word(column, word) is None]
        allowed = column.words or tuple(dict.fromkeys(component_synonyms.values()))
        offers += [WordOffer(name, word, n, nearest_word(column, word), allowed) for word, n in unknown]
    return offers


def nearest_word(column: Column, written: str) -> str:
    """Return the contract's word an unknown one may mean: understood in part, else spelled nearly alike; else blank."""
    words = written.split()
    for length in range(len(words) - 1, 0, -1):
        for start in range(len(words) - length + 1):
            part = " ".join(words[start : start + length])
            if len(part) >= 3 and (meant := understand_word(column, part)):
                return meant
    known = component_synonyms if column.kind == "component" else _listed(column)
    near = difflib.get_close_matches(written, known, n=1, cutoff=0.8)
    return known[near[0]] if near else ""


def _listed(column: Column) -> dict[str, str]:
    others = WORD_SYNONYMS.get(column.name.removeprefix("part_"), {})
    return {word: word for word in column.words} | {o: word for word, some in others.items() for o in some}


def _filled(files: Sequence[GuessedFile]) -> Iterator[tuple[str, Column, list[str]]]:
    """Yield table, column of the contract and filled cells of every column a file's guess gives a meaning."""
    for file in files:
        known = columns_of(file.table) if file.table else {}
        for guess in file.columns:
            if guess.means in known and not guess.part:
                cells = file.cells(guess.position)
                # a header repeated further down is no value
                filled = [cell for cell in cells if cell.strip() and cell.strip() != guess.header.strip()]
                yield file.table, known[guess.means], filled
