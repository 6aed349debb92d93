import pytest

from fleet.errors import SourceError
from fleet.ingest.headers import best_table, plain, understand_headers
from fleet.ingest.synonyms import SHEET_SYNONYMS, SYNONYMS
from fleet.store.schema import SHEET_COLUMNS, TABLES


def names_of(plan):
    return {plan.headers[position]: column.name for position, column in plan.columns}


def test_case_spaces_and_punctuation_dont_matter():
    assert plain(" Unit-ID ") == plain("unit_id") == "unitid"
    assert plain("µF") == plain("uf")


def test_synonyms_of_the_trade_are_understood():
    plan = understand_headers("log.csv", "visits", ["Ticket", "Condenser", "Date Called", "Tech", "Diagnosis"])
    assert names_of(plan) == {
        "Ticket": "visit_id", "Condenser": "equipment_id", "Date Called": "reported_at",
        "Tech": "technician", "Diagnosis": "finding",
    }  # fmt: skip


def test_each_table_has_its_own_synonyms():
    visits = understand_headers("v", "visits", ["unit", "date"])
    readings = understand_headers("r", "readings", ["visit", "side", "unit"])
    assert names_of(visits)["unit"] == "equipment_id"
    assert names_of(readings)["unit"] == "unit"


def test_the_columns_own_name_wins_over_a_synonym():
    plan = understand_headers("v", "visits", ["date", "reported_at", "unit"])
    assert names_of(plan) == {"reported_at": "reported_at", "unit": "equipment_id"}
    assert plan.not_understood == ("date",)


def test_two_headers_of_one_name_are_refused():
    with pytest.raises(SourceError, match="'reported_at' and 'Reported At' both mean reported_at; rename one"):
        understand_headers("v.csv", "visits", ["unit", "reported_at", "Reported At"])


def test_a_missing_needed_column_is_named_with_what_is_there():
    with pytest.raises(
        SourceError, match=r"v\.csv: the needed column reported_at of visits is missing \(its headers: unit, when\)"
    ):
        understand_headers("v.csv", "visits", ["unit", "when"])


def test_a_sheet_is_recognised_by_its_further_columns():
    assert not understand_headers("v", "visits", ["unit", "date"]).sheet
    assert understand_headers("v", "visits", ["unit", "date", "herm_found_uf"]).sheet
    assert understand_headers("v", "visits", ["unit", "date", "building"]).sheet


@pytest.mark.parametrize(
    ("headers", "table"),
    [
        (["tag", "bldg", "tonnage"], "equipment"),
        (["unit", "reported_at", "finding"], "visits"),
        (["visit_id", "component", "stage", "value"], "readings"),
        (["date", "high_f", "low_f"], "weather"),
        (["colour", "smell"], None),
    ],
)
def test_a_nameless_file_goes_where_its_headers_fit_best(headers, table):
    assert best_table(headers) == table


def test_synonyms_name_only_columns_of_the_contract():
    for table, words in SYNONYMS.items():
        assert set(words) <= {column.name for column in TABLES[table].columns}
    assert set(SHEET_SYNONYMS) <= {column.name for column in SHEET_COLUMNS}


@pytest.mark.parametrize("table", list(SYNONYMS))
def test_no_word_means_two_columns_of_one_table(table):
    seen = {}
    for name, words in SYNONYMS[table].items():
        for word in words:
            assert seen.setdefault(plain(word), name) == name
