import pytest

from fleet.ingest.words import DEFAULTS, REFUSES_UNKNOWN, WORD_SYNONYMS, plain_word, understand_word
from fleet.store.schema import SHEET_COLUMNS, TABLES


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
        ("visits", "call_type", "A/C not working!", "no cooling"),
        ("visits", "call_type", "Tune-Up", "preventive maintenance"),
        ("visits", "call_type", "No enfría", "no cooling"),
        ("visits", "outcome", "Waiting on part(s)", "waiting for part"),
        ("visits", "call_type", "unit is very loud", "noise"),
        ("visits", "call_type", "Water is dripping", "water leak"),
        ("visits", "call_type", "the unit", None),
        ("visits", "call_type", "no", None),
        ("visits", "call_type", "out of the unit", None),
        ("visits", "outcome", "the unit was replaced", "unit replaced"),
        ("visits", "outcome", "was replaced", None),
        ("visits", "outcome", "replaced", None),  # the unit, or a part of it?
        ("visits", "outcome", "closed", None),  # the ticket; nobody says that it cools
        ("parts_used", "why", "burned-out", "failed"),
        ("parts_used", "why", "", None),
        ("equipment", "compressor_type", "SCROLL ", "scroll"),
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
        seen = [plain_word(other) or other for word, others in words.items() for other in (word, *others)]
        assert len(seen) == len(set(seen))


def test_a_sheets_columns_know_the_words_of_the_table_they_become():
    why = next(column for column in SHEET_COLUMNS if column.name == "part_why")
    assert understand_word(why, "Dead") == "failed"


def test_every_short_list_says_what_an_unknown_word_becomes():
    for name, default in DEFAULTS.items():
        columns = [c for t in TABLES.values() for c in t.columns if c.name == name]
        assert all(default in c.words for c in columns)
    assert not set(DEFAULTS) & set(REFUSES_UNKNOWN)
