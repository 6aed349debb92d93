import pytest

from fleet.errors import SourceError
from fleet.ingest.guess_names import header_words, look_up, plain, set_aside, unit_code
from fleet.ingest.header_spellings import ASIDE
from fleet.ingest.headers import best_table, is_time_of_day, understand_headers
from fleet.ingest.mapping import Always, FileMapping, MappedColumn
from fleet.ingest.measures import CONVERSIONS, UNITS
from fleet.ingest.synonyms import SHEET_SYNONYMS, SYNONYMS, YIELDS
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
    said = r"v\.csv: the needed column reported_at of visits is missing \(its headers: unit, hue\); let dogdays draft"
    with pytest.raises(SourceError, match=said):
        understand_headers("v.csv", "visits", ["unit", "hue"])


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
    said = {**(SHEET_SYNONYMS if table == "visits" else {}), **SYNONYMS[table]}
    sheet = SHEET_COLUMNS if table == "visits" else ()
    seen = {}
    for name in [column.name for column in (*TABLES[table].columns, *sheet)]:
        for word in (name.replace("_", " "), *said.get(name, ())):
            assert seen.setdefault(frozenset(header_words(word)), name) == name, word


@pytest.mark.parametrize("table", list(SYNONYMS))
def test_no_word_is_listed_twice(table):
    for words in SYNONYMS[table].values():
        keys = [frozenset(header_words(word)) for word in words]
        assert len(keys) == len(set(keys))


def test_what_is_left_aside_means_no_column():
    for phrase in ASIDE:
        assert set_aside(phrase)
        assert [(table, match) for table in TABLES for match in look_up(table, phrase) if match.rank < 2] == []


def test_second_meanings_are_columns():
    for table, words in YIELDS.items():
        assert set(words) <= {column.name for column in (*TABLES[table].columns, *SHEET_COLUMNS)}


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("Bldg #", ("building", "no")),
        ("building_no", ("building", "no")),
        ("BLDGNO", ("building", "no")),
        ("BldgNbr", ("building", "no")),
        ("A/C Unit", ("ac", "unit")),
        ("W/O No.", ("work", "order", "no")),
        ("Edificio", ("building",)),
        ("Técnico", ("technician",)),
        ("SVCDT", ("service", "date")),
        ("Labor $", ("labor", "cost")),
        ("Call\nDate", ("call", "date")),
        ("C-H found", ("herm", "found")),
        ("Mat'l No", ("part", "no")),
        ("the", ("the",)),  # small words stay where there is nothing else
        ("日付", ()),
    ],
)
def test_a_header_is_taken_apart_into_words_spelled_one_way(written, words):
    assert header_words(written) == words


VISITS = {
    "A/C unit": "equipment_id", "cond. unit": "equipment_id", "AC #": "equipment_id", "UNITNO": "equipment_id",
    "bldg #": "building", "apt #": "apartment", "svc date": "reported_at", "dt reported": "reported_at",
    "WO#": "visit_id", "tech initials": "technician", "herm mfd found": "herm_found_uf", "C-H found": "herm_found_uf",
    "microfarads herm": "herm_uf", "parts $": "part_cost", "OT?": "after_hours", "After-Hours": "after_hours",
    "Fecha de llamada": "reported_at", "Costo mano de obra": "labor_cost", "What was wrong?": "finding",
    "How was it left": "outcome", "Who went": "technician", "RPTDT": "reported_at", "LBRCOST": "labor_cost",
}  # fmt: skip


@pytest.mark.parametrize("header", VISITS)
def test_office_peoples_words_are_understood(header):
    assert look_up("visits", header)[0].column.name == VISITS[header]


@pytest.mark.parametrize(
    ("table", "header", "column", "unit"),
    [
        ("visits", "Labor Hours", "labor_minutes", "h"),
        ("visits", "LBRHRS", "labor_minutes", "h"),
        ("visits", "Labor Minutes", "labor_minutes", None),
        ("visits", "Refrigerant (lb)", "refrigerant_added_oz", "lb"),
        ("visits", "freon lbs", "refrigerant_added_oz", "lb"),
        ("visits", "R-410A (g)", "refrigerant_added_oz", "g"),
        ("visits", "Refrigerant oz", "refrigerant_added_oz", None),
        ("visits", "Indoor °C", "indoor_f", "C"),
        ("visits", "herm found (nF)", "herm_found_uf", "nF"),
        ("visits", "herm found (mF)", "herm_found_uf", "mF"),
        ("visits", "herm found (MF)", "herm_found_uf", None),
        ("equipment", "Capacity BTU", "tons", "btu"),
        ("equipment", "Capacity (BTU/h)", "tons", "btu"),
        ("equipment", "Capacity MBH", "tons", "kbtu"),
        ("equipment", "charge kg", "charge_oz", "kg"),
        ("equipment", "Tonnage", "tons", None),
        ("catalogue", "Lead time (weeks)", "lead_time_days", "weeks"),
        ("catalogue", "Shelf life, yrs", "shelf_life_months", "years"),
        ("buildings", "walk x ft", "x", "ft"),
        ("weather", "Max °C", "high_c", None),
        ("weather", "Max °F", "high_f", None),
    ],
)
def test_a_unit_in_the_header_is_understood(table, header, column, unit):
    match = look_up(table, header)[0]
    assert (match.column.name, match.unit) == (column, unit)


def test_the_plan_carries_units_that_arent_the_contracts_own():
    plan = understand_headers("v", "visits", ["unit", "date", "Labor hrs", "Oz added"])
    assert dict(plan.units) == {"labor_minutes": "h"}
    assert understand_headers("v", "visits", ["unit", "date", "labor_minutes"]).units == {}


def test_conversions_agree_with_published_factors():
    # NIST SP 811 (2008), Appendix B.8: pound (avoirdupois) 0.45359237 kg and foot 0.3048 m exactly; ton of
    # refrigeration (12 000 Btu_IT/h) 3.516 853 E+03 W; Appendix B.9 for degrees Celsius. 1 lb = 16 oz.
    def own(pair, value):
        factor, offset = CONVERSIONS[pair]
        return value * factor + offset

    assert own(("oz", "kg"), 0.45359237) == pytest.approx(16)
    assert own(("oz", "g"), 453.59237) == pytest.approx(16)
    assert own(("m", "ft"), 1) == 0.3048
    assert own(("tons", "kw"), 3.516853) == pytest.approx(1)
    assert own(("tons", "btu"), 36_000) == pytest.approx(3)
    assert own(("F", "C"), 100) == pytest.approx(212)
    assert own(("F", "C"), -40) == pytest.approx(-40)
    assert own(("months", "years"), 2.5) == pytest.approx(30)
    assert own(("days", "weeks"), 3) == 21


def test_every_unit_a_column_may_have_can_be_converted():
    for units in UNITS.values():
        assert all((units[0], other) in CONVERSIONS for other in units[1:])
        assert all(unit_code(unit) == unit for unit in units)


def test_a_better_word_takes_the_column_and_the_vague_one_yields():
    plan = understand_headers("v", "visits", ["Unit", "AC Tag", "Date Called", "Service Date"])
    assert names_of(plan) == {
        "Unit": "apartment", "AC Tag": "equipment_id", "Date Called": "reported_at", "Service Date": "arrived_at",
    }  # fmt: skip


def test_a_date_and_its_time_in_two_columns():
    plan = understand_headers("v", "visits", ["Unit", "Call Date", "Call Time", "Arrival date", "Arrival time"])
    assert names_of(plan) == {"Unit": "equipment_id", "Call Date": "reported_at", "Arrival date": "arrived_at"}
    assert dict(plan.clock) == {"reported_at": 2, "arrived_at": 4}
    assert plan.not_understood == ()


def test_a_time_column_alone_is_the_moment_itself():
    plan = understand_headers("v", "visits", ["Unit", "Call Time"])
    assert names_of(plan) == {"Unit": "equipment_id", "Call Time": "reported_at"}
    assert plan.clock == {}


def test_times_of_day_alone_share_the_date_of_the_call():
    sample = [["U1", "5/3/2024", "9:15 AM", "10:00 AM"]] * 6
    plan = understand_headers("v", "visits", ["Unit", "Date", "Time In", "Time Out"], sample=sample)
    assert dict(plan.clock) == {"arrived_at": 2, "finished_at": 3}
    assert dict(plan.day_from) == {"arrived_at": "reported_at", "finished_at": "reported_at"}
    assert [(position, column.name) for position, column in plan.columns if column.kind == "datetime"] == [
        (1, "reported_at"), (1, "arrived_at"), (1, "finished_at"),
    ]  # fmt: skip


def test_a_date_that_has_its_time_needs_no_companion():
    sample = [["U1", "5/3/2024 9:10", "9:10"]] * 6
    plan = understand_headers("v", "visits", ["Unit", "Call Date", "Call Time"], sample=sample)
    assert plan.clock == {}
    assert plan.not_understood == ("Call Time",)


def test_a_synonym_isnt_believed_against_its_values():
    sample = [["U1", "2024-05-03", "Yes", "Night crew"]] * 6
    headers = ["Unit", "Date", "Completed", "Overtime"]
    assert names_of(understand_headers("v", "visits", headers)).keys() == set(headers)
    plan = understand_headers("v", "visits", headers, sample=sample)
    assert plan.not_understood == ("Completed", "Overtime")


def test_is_time_of_day():
    assert is_time_of_day("Call Time")
    assert is_time_of_day("Hora llegada")
    assert not is_time_of_day("Date/Time")


def mapped(*columns, always=(), name="v.csv"):
    return FileMapping(name=name, table="visits", columns=columns, always=always)


def test_what_the_mapping_says_wins():
    mapping = mapped(
        MappedColumn(header="Unit", means="apartment"), MappedColumn(header="Thing", means="equipment_id"),
        MappedColumn(header="Lbr", means="labor_minutes", unit="h"), MappedColumn(header="Notes", means=""),
        MappedColumn(header="Called", means="reported_at", dates="dmy"),
        MappedColumn(header="At", means="reported_at", part="time"),
    )  # fmt: skip
    plan = understand_headers("v.csv", "visits", ["Unit", "Thing", "Lbr", "Notes", "Called", "At", "Tech"], mapping)
    assert names_of(plan) == {
        "Unit": "apartment", "Thing": "equipment_id", "Lbr": "labor_minutes", "Called": "reported_at",
        "Tech": "technician",  # not in the mapping: understood as without one
    }  # fmt: skip
    assert dict(plan.units) == {"labor_minutes": "h"}
    assert dict(plan.clock) == {"reported_at": 5}
    assert dict(plan.dates) == {"reported_at": "dmy"}
    assert plan.not_understood == ()


def test_a_column_the_file_lacks_may_be_the_same_for_every_record():
    always = (Always(means="property", value="Cedar Court"), Always(means="reported_at", value="2024-05-01"))
    plan = understand_headers("v.csv", "visits", ["Unit"], mapped(always=always))
    assert [(column.name, value) for column, value in plan.always] == [
        ("property", "Cedar Court"), ("reported_at", "2024-05-01"),
    ]  # fmt: skip
    assert plan.sheet  # the property is no column of visits proper


def test_columns_of_one_header_are_told_apart_by_position():
    headers = ["Unit", "Date", "Herm", "Herm"]
    columns = [MappedColumn(header="Herm", means=f"herm_{s}_uf", position=p) for s, p in (("found", 3), ("left", 4))]
    plan = understand_headers("v.csv", "visits", headers, mapped(*columns))
    assert {(position, column.name) for position, column in plan.columns} >= {(2, "herm_found_uf"), (3, "herm_left_uf")}
    with pytest.raises(SourceError, match=r"v\.csv has 2 columns headed 'Herm'; say which with position = 3 or 4"):
        understand_headers("v.csv", "visits", headers, mapped(MappedColumn(header="Herm", means="herm_uf")))


def test_a_header_the_mapping_names_must_be_there_unless_it_is_for_many_files():
    columns = (MappedColumn(header="Equipmnt", means="equipment_id"),)
    headers = ["Equipment", "Date"]
    with pytest.raises(SourceError, match=r"v\.csv has no column 'Equipmnt'.*did you mean 'Equipment'"):
        understand_headers("v.csv", "visits", headers, mapped(*columns))
    plan = understand_headers("v.csv", "visits", headers, mapped(*columns, name="v*.csv"))
    assert plan.not_found == ("Equipmnt",)
    assert names_of(plan)["Equipment"] == "equipment_id"
