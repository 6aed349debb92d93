"""What do a header's words say? Taken apart, spelled one way, looked up among the contract's columns.

``look_up`` is for certain: the column's own name, or words listed for it. ``likeness`` is for a guess: how much of a
header's words a column's words share.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from fleet.ingest.header_spellings import ASIDE, WORDS
from fleet.ingest.measures import LIKE_UNITS, UNIT_WORDS, UNITS
from fleet.ingest.synonyms import SHEET_SYNONYMS, SYNONYMS, YIELDS
from fleet.store.schema import SHEET_COLUMNS, TABLES, Column

_SMALL = """a an and any anything are as at be de del did do does el else en for i if is it its la las los of our para
    that the their there they this was we were will you your"""
_STOP = frozenset(_SMALL.split())
_PRICE = frozenset({"amount", "charge", "fee", "price"})
DRESSING = frozenset({"no", "code", "name", "flag", "yn", "field", "info", "indicator"})
"""Words that say little: "tech name", "tech code" and "tech #" all are the tech."""
_PLAIN = re.compile(r"[a-z ]+")
_MILLIFARAD = re.compile(r"(?<![A-Za-z])mF(?![A-Za-z])")


@dataclass(frozen=True, slots=True)
class Match:
    """A column a header stands for: ``rank`` 0 its own name, 1 words for it, 2 words that yield to better ones.

    ``unit`` is the unit the header names where it isn't the contract's own.
    """

    column: Column
    rank: int
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class Lexicon:
    """What headers of one table may say: phrases, phrases with a unit, second meanings, and each column's words."""

    columns: Mapping[str, Column]
    phrases: Mapping[str, str]
    measured: Mapping[tuple[str, str], str]
    second: Mapping[str, tuple[str, ...]]
    words_of: Mapping[str, tuple[frozenset[str], ...]]


def plain(header: str) -> str:
    """Return a header without case, spaces, punctuation: ``Unit-ID `` and ``unit_id`` are one."""
    return re.sub(r"[^a-z0-9]", "", header.lower().replace("µ", "u").replace("μ", "u"))


def unit_code(word: str) -> str | None:
    """Return the code of a unit of measure (``hours`` -> ``h``), None for a word that isn't one."""
    if word.strip() in ("mF", *UNIT_WORDS.values()):
        return word.strip()
    tokens = _pieces(word)
    return UNIT_WORDS.get(tokens[0]) if len(tokens) == 1 else None


@lru_cache(maxsize=4096)
def header_words(header: str) -> tuple[str, ...]:
    """Return a header's words, each spelled one way: ``Bldg #`` and ``building_no`` are ("building", "no")."""
    words: list[str] = []
    for raw in _pieces(header):
        words += _spelled(raw)
    kept = [word for word in words if word not in _STOP] or words
    if len(kept) > 1 and kept[-1] == "on":
        kept = kept[:-1]
    return tuple(dict.fromkeys(kept))


@lru_cache(maxsize=64)
def lexicon(table: str) -> Lexicon:
    """Return what headers of ``table`` may say; a visits file may be a sheet with columns of other tables."""
    columns = {column.name: column for column in _own_names(table).values()}
    said = {**(SHEET_SYNONYMS if table == "visits" else {}), **SYNONYMS[table]}
    phrases: dict[str, str] = {}
    measured: dict[tuple[str, str], str] = {}
    words_of: dict[str, tuple[frozenset[str], ...]] = {}
    for name in columns:
        written = (name.replace("_", " "), *said.get(name, ()))
        words_of[name] = tuple(dict.fromkeys(frozenset(header_words(one)) for one in written))
        for one in written:
            phrases.setdefault(_key(header_words(one)), name)
            _learn_measure(one, name, measured)
    second: dict[str, tuple[str, ...]] = {}
    for name, written in YIELDS.get(table, {}).items():
        for one in written:
            key = _key(header_words(one))
            second[key] = (*second.get(key, ()), name)
    return Lexicon(columns, phrases, measured, second, words_of)


@lru_cache(maxsize=8192)
def look_up(table: str, header: str) -> tuple[Match, ...]:
    """Return the columns a header stands for by name or by words listed for them, the best first."""
    if (own := _own_names(table).get(plain(header))) is not None:
        return (Match(own, 0),)
    known = lexicon(table)
    words = header_words(header)
    found: list[Match] = []
    for unit, base in said_units(header):
        names = [known.measured.get((base, own)) for own in (unit, *LIKE_UNITS.get(unit, ()))]
        name = next((name for name in names if name is not None and unit in UNITS[name]), None)
        if name is not None:
            found.append(Match(known.columns[name], 1, None if unit == UNITS[name][0] else unit))
    keys = [_key(words)] if set_aside(header) else [_key(words), *(_key(part) for part in _undressed(words))]
    for key in keys:
        if key in known.phrases:
            found.append(Match(known.columns[known.phrases[key]], 1))
        found += [Match(known.columns[name], 2) for name in known.second.get(key, ())]
    return tuple({match.column.name: match for match in reversed(found)}.values())[::-1]


@lru_cache(maxsize=64)
def _own_names(table: str) -> Mapping[str, Column]:
    described = TABLES[table].columns + (SHEET_COLUMNS if table == "visits" else ())
    return {plain(column.name): column for column in described}


def said_units(header: str) -> list[tuple[str, str]]:
    """Return (unit code, key of the words without it) for every word of a header that may be a unit."""
    found = []
    words = _pieces(header)
    for i in range(len(words) - 1, -1, -1):
        code = "mF" if words[i] == "mf" and _MILLIFARAD.search(header) else UNIT_WORDS.get(words[i])
        if code is not None:
            rest = " ".join(word for j, word in enumerate(words) if j != i and word not in ("deg", "degrees"))
            found.append((code, _key(header_words(rest)) if rest else ""))
    return found


def set_aside(header: str) -> bool:
    """Return whether a header names something the log has no place for (a serial number, a phone, a total)."""
    return _key(header_words(header)) in _aside()


def _raw_words(header: str) -> list[str]:
    if _PLAIN.fullmatch(header):
        return header.split()
    text = unicodedata.normalize("NFKD", header.replace("µ", "u").replace("μ", "u").replace("°", " deg "))
    text = "".join(letter for letter in text if not unicodedata.combining(letter))
    text = re.sub(r"['’](s\b)?", "", text)
    text = text.replace("#", " no ").replace("$", " cost ").replace("%", " pct ")
    text = re.sub(r"(?i)\bmano de obra\b", "labor", text)
    text = re.sub(r"(?i)\bbtus?\s*/\s*(h|hr)\b", "btuh", text)
    text = re.sub(r"(?i)\br[\s-]?(\d{2,3}[a-z]?)\b", r"r\1", text)
    # C-H and C-F name a capacitor's terminals; A/C, W/O, O/T are one word each
    text = re.sub(r"(?i)(?<![a-z])(c[-/_]h|h[-/_]c)(?![a-z])", " herm ", text)
    text = re.sub(r"(?i)(?<![a-z])(c[-/_]f|f[-/_]c)(?![a-z])", " fan ", text)
    text = re.sub(r"\b([A-Za-z])[/.]([A-Za-z])\b\.?", r"\1\2", text)
    text = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])|(?<=[a-z]{2})(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})", " ", text)
    text = re.sub(r"(?<=[A-Za-z]{3})(?=\d)", " ", text)
    return re.sub(r"[^a-z0-9]+", " ", text.lower()).split()


def _spelled(raw: str) -> list[str]:
    if raw in WORDS:
        return WORDS[raw].split()
    if raw in UNIT_WORDS:
        return [UNIT_WORDS[raw].lower()] if len(raw) > 1 else [raw]
    if len(raw) > 3 and raw.endswith("s") and raw not in _vocabulary() and raw[:-1] in _vocabulary() | WORDS.keys():
        return _spelled(raw[:-1])
    return [raw]


@lru_cache(maxsize=4096)
def _pieces(header: str) -> tuple[str, ...]:
    """Return a header's words as written, those written together cut apart."""
    return tuple(piece for raw in _raw_words(header) for piece in _cut(raw) or (raw,))


@lru_cache(maxsize=4096)
def _cut(glued: str) -> tuple[str, ...] | None:
    """Cut words written together (``bldgno``) into as few known ones as possible; None where it can't be done."""
    known = known_words()
    if len(glued) < 4 or len(glued) > 40 or glued in known or glued.removesuffix("s") in known:
        return None
    best: list[tuple[str, ...] | None] = [(), *([None] * len(glued))]
    for end in range(2, len(glued) + 1):
        for start in range(max(0, end - 14), end - 1):
            before, piece = best[start], glued[start:end]
            if before is not None and piece in known and (best[end] is None or len(before) + 1 < len(best[end] or ())):
                best[end] = (*before, piece)
    return best[len(glued)]


@lru_cache(maxsize=1)
def _vocabulary() -> frozenset[str]:
    """Return every word that occurs in the synonyms, as written there."""
    listed = [*SYNONYMS.values(), SHEET_SYNONYMS]
    words = {word for table in listed for phrases in table.values() for phrase in phrases for word in phrase.split()}
    words |= {word for table in listed for name in table for word in name.split("_")}
    words |= {word for phrase in ASIDE for word in phrase.split()} | set(" ".join(WORDS.values()).split())
    return frozenset(word for word in words if len(word) > 1) - WORDS.keys()


@lru_cache(maxsize=1)
def known_words() -> frozenset[str]:
    """Return every word a header may be made of, in any of its spellings."""
    return _vocabulary() | WORDS.keys() | {word for word in UNIT_WORDS if len(word) > 1}


@lru_cache(maxsize=1)
def _aside() -> frozenset[str]:
    return frozenset(_key(header_words(phrase)) for phrase in ASIDE)


def _key(words: Iterable[str]) -> str:
    return " ".join(sorted(set(words)))


def _undressed(words: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Return the words without a last one that says little: a "tech code" stands for the tech as "tech" does."""
    if len(words) > 1 and words[-1] in DRESSING:
        return [words[:-1]]
    priced = "cost" in words and not _PRICE.isdisjoint(words)
    return [tuple(word for word in words if word != "cost")] if priced else []


def _learn_measure(phrase: str, name: str, measured: dict[tuple[str, str], str]) -> None:
    if name not in UNITS:
        return
    own = UNITS[name][0]
    for base in {_key(header_words(phrase)), *(base for unit, base in said_units(phrase) if unit in UNITS[name])}:
        measured.setdefault((base, own), name)
