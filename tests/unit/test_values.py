import datetime as dt
from decimal import Decimal

import pytest
from macro_engine import macro_engine, read_all
from small_logs import unit, visit, write_log

from fleet.ingest import raw
from fleet.ingest.load import load_log
from fleet.store.snapshots import Store


@pytest.fixture(scope="module")
def engine(tmp_path_factory):
    with macro_engine(tmp_path_factory.mktemp("engine")) as database:
        yield database


@pytest.mark.parametrize(
    ("written", "number"),
    [
        ("12", 12), (" 12.5 ", 12.5), ("\t12\n", 12), ("-3", -3), ("+3", 3), (".5", 0.5), ("12.", 12), ("- 5", -5),
        ("1,234", 1234), ("1,234.5", 1234.5), ("1,234,567", 1234567), ("1.234,5", 1234.5), ("1.234.567", 1234567),
        ("44,2", 44.2), ("0,500", 0.5), ("1234,567", 1234.567), (",5", 0.5), ("1 234,5", 1234.5),
        # the grouping of Unicode CLDR (from memory): fr U+202F, older fr U+00A0, de-CH U+2019
        ("1\u202f234,5", 1234.5), ("1\u00a0234,5", 1234.5), ("1’234.50", 1234.5), ("1'234.50", 1234.5),
        ("−5", -5), ("–5", -5), ("１２，５", 12.5), ("12-", -12), ("'12", 12), ('="12"', 12), ("\ufeff12", 12),
        # what programs write
        ("1e3", 1000), ("1E+05", 100000), ("1.5E-03", 0.0015), ("1,5E+03", 1500),
        # the column's own unit behind
        ("90 min", 90), ("5 %", 5), ("95 °F", 95), ("44.2 mfd", 44.2), ("44,2 MFD", 44.2), ("3 tons", 3),
        ("12 pcs.", 12),
    ],
)  # fmt: skip
def test_read_number(engine, written, number):
    assert engine.value("select read_number(?)", [written]) == number


@pytest.mark.parametrize(
    "written",
    ["nan", "inf", "-Infinity", "n/a", "", "1,23,4", "1,2345,678", "12-14", "4 4", "1_000", "0x10", "1e999", "+5-",
     "--5", "~45", "approx 45", "<5", ">5", "45?", "5 or 6", "1.2.3", "12 apples", "e5", "36000 btu"],
)  # fmt: skip
def test_what_is_no_number_or_not_a_sure_one_is_not_read(engine, written):
    assert engine.value("select read_number(?)", [written]) is None


def test_every_mark_of_a_word_processor_is_exchanged_for_its_plain_one(engine):
    typed, meant = engine.rows("select marks_typed(), marks_meant()")[0]
    for i, mark in enumerate(typed):
        assert engine.value("select tidy(?)", [f"a{mark}b"]) == f"a{meant[i : i + 1]}b", f"U+{ord(mark):04X}"


@pytest.mark.parametrize(
    ("written", "pieces"),
    [("2", 2), ("2 pcs", 2), ("x2", 2), ("2x", 2), ("3 ea", 3), ("10/box", 10), ("none", 0), ("out of stock", 0),
     ("1,200", 1200), ("some", None), ("2 boxes of 5", None)],
)  # fmt: skip
def test_read_pieces(engine, written, pieces):
    assert engine.value("select read_pieces(?)", [written]) == pieces


@pytest.mark.parametrize(
    ("written", "money"),
    [
        ("12", "12"), ("0.0001", "0.0001"), ("$1,234.50", "1234.5"), ("$ 1 234.50", "1234.5"), ("1,234", "1234"),
        ("-$12", "-12"), ("$-5", "-5"), ("−$5", "-5"), ("+$5", "5"), ("12.00-", "-12"),
        ("12 USD", "12"), ("USD 45", "45"), ("45.00 USD", "45"), ("US$45", "45"), ("€45", "45"), ("45 dollars", "45"),
        # Unicode CLDR's currency patterns (from memory): de, fr, de-CH, and the accounting form of en
        ("1.234,50 €", "1234.5"), ("1\u202f234,50\u00a0€", "1234.5"), ("CHF 1’234.50", "1234.5"), ("($12.00)", "-12"),
        ("(12.00)", "-12"), ("$(12.00)", "-12"), ("€ 9,90", "9.9"), ("45,00 €", "45"), ("1.234,50 EUR", "1234.5"),
        ("12.50 CR", "-12.5"), ("12.50 dr", "12.5"), ("$4.50 ea", "4.5"), ("4.50/each", "4.5"), ("1e3", "1000"),
        # no charge is a charge of nothing; "$ -" is a spreadsheet's accounting format of 0
        ("free", "0"), ("n/c", "0"), ("NC", "0"), ("No charge", "0"), ("comp", "0"), ("waived", "0"), ("nil", "0"),
        (" $ -   ", "0"), ("$0", "0"),
    ],
)  # fmt: skip
def test_read_money(engine, written, money):
    assert engine.value("select read_money(?)", [written]) == Decimal(money)


@pytest.mark.parametrize(
    "written",
    ["12 or 13", "$5$6", "-(5)", "--5", "-5-", "(12", "12)", "12 units", "5%", "1_000", "call", "", "-", "$",
     "$12,34,5", "warranty", "12.50 each for 2"],
)  # fmt: skip
def test_what_is_no_money_or_two_amounts_is_not_read(engine, written):
    assert engine.value("select read_money(?)", [written]) is None


YES = [
    "Yes",
    "Y",
    "yep",
    "YEAH",
    "true",
    "T",
    "1",
    "1.0",
    "-1",
    "x",
    "X",
    "[x]",
    "✓",
    "✔",
    "✔\ufe0f",
    "on",
    "sí",
    "si",
    "Yes.",
    "ja",
    "oui",
]
NO = [
    "no",
    "nein",
    "non",
    "N",
    "No.",
    "nope",
    "nah",
    "FALSE",
    "f",
    "0",
    "0.0",
    "off",
    "-",
    "—",
    "none",
    "never",
    "[ ]",
    "unchecked",
]


@pytest.mark.parametrize(("words", "meant"), [(YES, True), (NO, False)])
def test_yes_and_no_in_their_spellings(engine, words, meant):
    assert dict(zip(words, read_all(engine, "read_yesno", words), strict=True)) == dict.fromkeys(words, meant)


@pytest.mark.parametrize("written", ["n/a", "?", "unknown", "", "perhaps", "2", "yes and no", "maybe not"])
def test_neither_yes_nor_no(engine, written):
    assert engine.value("select read_yesno(?)", [written]) is None


NOTHING = ["", "  ", "-", "--", "—", "n/a", "N.A.", "na", "#N/A", "null", "(null)", "None", "nil", "NaN", "<NA>", "tbd",
           "?", "unknown", "not measured", "(blank)", None]  # fmt: skip


def test_what_says_nothing_in_a_column_of_values(engine):
    assert read_all(engine, "nothing_said", NOTHING) == [True] * len(NOTHING)
    said = ["0", "no", "x", "45", "#VALUE!", "#REF!", "#DIV/0!", "soon", "free"]
    assert read_all(engine, "nothing_said", said) == [False] * len(said)


def test_a_tag_may_well_be_a_dash_or_the_word_none(engine):
    written = ["", " ", "#N/A", "(blank)", None, "-", "none", "NA", "0", "Null"]
    assert read_all(engine, "no_text", written) == [True] * 5 + [False] * 5


@pytest.mark.parametrize("reader", ["number", "money", "yesno"])
@pytest.mark.parametrize(
    "written",
    ["12", "-4.5", "yes", "1", "0", "no", "true", "1,234", "$3", "inf", "", "word", "1e5", "1E-02", " 7 ", "7."],
)
def test_a_glance_never_contradicts_care(engine, reader, written):
    glance, care = engine.rows(f"select glance_{reader}(?), read_{reader}(?)", [written, written])[0]
    assert glance is None or glance == care or glance in (float("inf"),)


def clean_equipment(folder, **cells):
    log = write_log(folder / "log", equipment=[unit("U1", **cells)], visits=[visit("V1", "U1", "2024-01-01")])
    store = Store(folder / "store")
    load_log(log, store, loaded_on=dt.date(2030, 1, 1))
    with store.open() as database:
        return database.rows("select herm_uf, fan_uf, start_uf_min, start_uf_max, charge_oz from log.clean.equipment")


def test_two_ratings_in_one_cell_are_understood(tmp_path):
    found = clean_equipment(tmp_path, herm_uf="45/5", fan_uf="", start_uf_min="88-108", charge_oz="4 lb 10 oz")
    assert found == [(45, 5, 88, 108, 74)]


def test_two_ratings_in_the_only_column_are_understood(tmp_path):
    log = tmp_path / "log"
    log.mkdir()
    (log / "equipment.csv").write_text("unit,building,capacitor,start cap\nU1,1,45/5 mfd,88-108\n")
    (log / "visits.csv").write_text("unit,date\nU1,2024-01-01\n")
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=dt.date(2030, 1, 1))
    with store.open() as database:
        found = database.rows("select herm_uf, fan_uf, start_uf_min, start_uf_max from log.clean.equipment")
    assert found == [(45, 5, 88, 108)]


@pytest.mark.parametrize("large", [False, True])
def test_money_signs_in_every_row_are_read_whatever_the_size(tmp_path, monkeypatch, large):
    if large:
        monkeypatch.setattr(raw, "LARGE", 100)
    visits = [visit(f"V{i}", "U1", "2024-01-01", labor_cost=f"${i},000.25") for i in range(1, 60)]
    log = write_log(tmp_path / "log", equipment=[unit("U1")], visits=visits)
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=dt.date(2030, 1, 1))
    with store.open() as database:
        total = database.value("select sum(labor_cost) from log.clean.visit")
    assert total == Decimal(sum(range(1, 60)) * 1000) + Decimal("0.25") * 59


def test_no_column_of_a_table_is_taken_for_a_macros_own_name(engine):
    """Cells may lie beside columns of any name, those of parameters and lambdas among them."""
    names = "s t u a b n m p d x word found hour minute second half unit own convert part meant sign turned mark other"
    columns = ", ".join(f"'9' as {name}, '9' as {name}_" for name in names.split())
    for macro, cell in [
        ("read_number", "44,2 mfd"), ("read_money", "(€12,50)"), ("herm_microfarads", "45+5 MFD 440V"), ("tidy", "'a"),
        ("fan_microfarads", "45000/5000 nF"), ("microfarad_note", "44 mF"), ("read_minutes", "1 h 5 min"),
        ("read_ounces", "623 g"), ("read_metres", "12' 6\""), ("read_percent", "-5/+5%"), ("read_yesno", "Nope."),
        ("read_datetime_mdy", "Mon 7/1/24 2:05p"), ("read_datetime_iso", "1 Jul 2024"), ("read_clock", "235p"),
        ("offset_note", "2024-07-01T10:00-05:00"), ("decimal_shape", "44,2"), ("from_comma", "1.234,5"),
        ("plain_unit", "MFD"),
    ]:  # fmt: skip
        alone = engine.value(f"select {macro}(?)", [cell])
        assert alone is not None
        assert engine.value(f"select {macro}(cell) from (select ? as cell, {columns})", [cell]) == alone
