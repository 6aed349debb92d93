"""How like is a header to a column's words, where it isn't one of them? For a guess only."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from fleet.ingest.guess_names import DRESSING, header_words, known_words, lexicon
from fleet.ingest.header_spellings import ASIDE, WORDS

USUAL, STRANGE = 3.0, 2.0
"""The weight of a word of one column, and of a word no column has."""

INEXACT = 0.8
"""What a word that is only nearly alike is worth against one that is the same."""


@dataclass(frozen=True, slots=True)
class _Known:
    """For each word the phrases that have it, with their columns, and what it weighs; left aside: no column."""

    having: Mapping[str, tuple[tuple[str, frozenset[str]], ...]]
    weight: Mapping[str, float]


@lru_cache(maxsize=8192)
def likeness(table: str, header: str) -> Mapping[str, float]:
    """Return how like a header is to each column's words, 0 to 1, for columns that share any.

    The share of weight (rare words weigh more) that the header's words and the nearest of a column's phrases have
    in common; a word matches when spelled nearly alike or when one abbreviates the other. Columns a header is less
    like than a phrase that is left aside are left out.
    """
    known = _known(table)
    words = [one for word in header_words(header) if not word.isdigit() for one in _mended(word)]
    like = {word: _known_likes(table, word) for word in words}
    total = sum(known.weight.get(word, STRANGE) for word in words)
    best: dict[str, float] = {}
    for name, phrase in {pair for likes in like.values() for one in likes for pair in known.having[one]}:
        matched: set[str] = set()
        common = 0.0
        for word in words:
            one = word if word in phrase else next((other for other in like[word] if other in phrase - matched), None)
            if one is not None and one not in matched:
                matched.add(one)
                common += (1.0 if one == word else INEXACT) * min(
                    known.weight.get(word, USUAL), known.weight.get(one, USUAL)
                )
        both = total + sum(known.weight.get(word, USUAL) for word in phrase)
        best[name] = max(best.get(name, 0.0), 2 * common / both)
    aside = best.pop("", 0.0)
    return MappingProxyType({name: score for name, score in best.items() if score > aside})


@lru_cache(maxsize=16384)
def _mended(word: str) -> tuple[str, ...]:
    """Return what a misspelled abbreviation or Spanish word stands for; any other word as it is."""
    if len(word) < 5 or word in known_words():
        return (word,)
    meant = {WORDS[other] for other in WORDS if len(other) >= 5 and _alike(word, other)}
    return tuple(meant.pop().split()) if len(meant) == 1 else (word,)


@lru_cache(maxsize=16384)
def _known_likes(table: str, word: str) -> tuple[str, ...]:
    """Return the words of a table's phrases that a header's word is or is like, itself first."""
    having = _known(table).having
    return (
        *([word] if word in having else []),
        *sorted(other for other in having if other != word and _alike(word, other)),
    )


@lru_cache(maxsize=65536)
def _alike(one: str, other: str) -> bool:
    """Return whether one word abbreviates the other, is it without its vowels, or is a letter away from it."""
    short, long = sorted((one, other), key=len)
    if len(short) >= 4 and short == long[0] + re.sub("[aeiou]", "", long[1:]):
        return True
    if len(short) >= 3 and long.startswith(short):
        return True
    if len(short) < 5 or abs(len(one) - len(other)) > 1:
        return False
    return _one_edit(short, long)


def _one_edit(short: str, long: str) -> bool:
    start = next((i for i, (a, b) in enumerate(zip(short, long, strict=False)) if a != b), len(short))
    if len(short) == len(long):
        swapped = short[start : start + 2][::-1] == long[start : start + 2] and short[start + 2 :] == long[start + 2 :]
        return swapped or short[start + 1 :] == long[start + 1 :]
    return short[start:] == long[start + 1 :]


@lru_cache(maxsize=64)
def _known(table: str) -> _Known:
    words_of = lexicon(table).words_of
    return _Known(_having(words_of), _weights(words_of))


def _having(words_of: Mapping[str, tuple[frozenset[str], ...]]) -> dict[str, tuple[tuple[str, frozenset[str]], ...]]:
    """Return for each word the phrases that have it, with their columns; phrases left aside have no column."""
    having: dict[str, tuple[tuple[str, frozenset[str]], ...]] = {}
    for name, phrases in (*words_of.items(), ("", _aside_words())):
        for phrase in phrases:
            for word in phrase:
                having[word] = (*having.get(word, ()), (name, phrase))
    return having


@lru_cache(maxsize=1)
def _aside_words() -> tuple[frozenset[str], ...]:
    return tuple(frozenset(header_words(phrase)) for phrase in ASIDE)


def _weights(words_of: Mapping[str, tuple[frozenset[str], ...]]) -> dict[str, float]:
    """Return how much a word tells: less the more columns have it."""
    count: dict[str, int] = {}
    for phrases in words_of.values():
        for word in frozenset().union(*phrases):
            count[word] = count.get(word, 0) + 1
    return {word: (0.5 if word in DRESSING else USUAL) / (1 + 0.35 * (n - 1)) for word, n in count.items()}
