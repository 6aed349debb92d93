import pytest

from fleet.ingest.words import DEFAULTS, REFUSES_UNKNOWN, WORD_SYNONYMS, understand_word
from fleet.store.schema import TABLES


def column(table, name):
    return TABLES[table].column(name)


@pytest.mark.parametrize(
    ("table", "name", "written", "meant"),
    [
        ("visits", "call_type", "No  Cooling", "no cooling"),
        ("visits", "call_type", "PM", "preventive maintenance"),
        ("visits", "call_type", "call_back", "follow-up"),  # an underscore is a space
        ("visits", "call_type", "callback", "follow-up"),
        ("visits", "outcome", "waiting on parts", "waiting for part"),
        ("visits", "finding", "Dual Cap", "run capacitor"),
        ("visits", "finding", "gremlins", None),
        ("parts_used", "why", "dead", "failed"),
        ("parts_used", "why", "?", "unknown"),
        ("equipment", "compressor_type", "Recip", "reciprocating"),
        ("readings", "component", "C-H", "herm"),
        ("readings", "stage", "As Found", "found"),
        ("readings", "method", "under load", "running"),
    ],
)
def test_words(table, name, written, meant):
    assert understand_word(column(table, name), written) == meant


def test_synonyms_mean_words_of_the_contract():
    columns = {c.name: c for t in TABLES.values() for c in t.columns if c.kind == "word"}
    for name, words in WORD_SYNONYMS.items():
        assert set(words) <= set(columns[name].words)


def test_no_synonym_means_two_words():
    for words in WORD_SYNONYMS.values():
        seen = [other for others in words.values() for other in others]
        assert len(seen) == len(set(seen))


def test_every_short_list_says_what_an_unknown_word_becomes():
    for name, default in DEFAULTS.items():
        columns = [c for t in TABLES.values() for c in t.columns if c.name == name]
        assert all(default in c.words for c in columns)
    assert not set(DEFAULTS) & set(REFUSES_UNKNOWN)
