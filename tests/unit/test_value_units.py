"""Quantities read in their column's unit.

Conversions: NIST Special Publication 811 (2008), appendix B: 1 ft = 0.3048 m, 1 in = 0.0254 m, 1 lb = 453.592 37 g,
1 oz = 28.349 52 g (all exact but the last), 1 ton of refrigeration (12 000 Btu_IT/h) = 3516.853 W, and degrees
Fahrenheit = 1.8 x degrees Celsius + 32. From memory; the ton and the ounce compared with other tables that cite it.
"""

import pytest
from macro_engine import macro_engine, read_all

from fleet.ingest.care import OWN_MACROS, UNIT_MACROS, care_macro, care_sql
from fleet.ingest.landing import SHEET
from fleet.store.schema import TABLES


@pytest.fixture(scope="module")
def engine(tmp_path_factory):
    with macro_engine(tmp_path_factory.mktemp("engine")) as database:
        yield database


@pytest.mark.parametrize(
    ("written", "minutes"),
    [
        ("90", 90), ("90 min", 90), ("90 minutes", 90), ("90m", 90), ("1,200 min", 1200), ("1.5 h", 90),
        ("1,5 hours", 90), ("1.5hrs.", 90), ("1:30", 90), ("01:30:00", 90), ("0:45 h", 45), ("1 hr 15 min", 75),
        ("1h15", 75), ("1h15m", 75), ("1 hour and 15 minutes", 75), ("1/2 hr", 30), ("1 1/2 hours", 90),
        ("2½ h", 150), ("0", 0),
        ("1:75", None), ("2 days", None), ("all day", None), ("h", None), ("", None), ("1-2 h", None), ("90 %", None),
    ],
)  # fmt: skip
def test_read_minutes(engine, written, minutes):
    assert engine.value("select read_minutes(?)", [written]) == minutes


@pytest.mark.parametrize(
    ("written", "ounces"),
    [
        ("22", 22), ("22 oz", 22), ("22,5 oz.", 22.5), ("1 lb 6 oz", 22), ("1lb. 6oz.", 22), ("1 lb, 6 oz", 22),
        ("1 lb 6", 22), ("1# 6oz", 22), ("2# 3oz", 35), ("2 lbs", 32), ("1.4 lbs", 22.4), ("1,5 lb", 24),
        ("1 1/2 lb", 24), ("-3 oz", -3), ("453.59237 g", 16), ("0.45359237 kg", 16), ("1,000 g", 16 * 1000 / 453.59237),
        ("a lot", None), ("22 fl oz", None), ("1 lb 6 g", None), ("6 oz 1 lb", None), ("1-2 lb", None), ("", None),
    ],
)  # fmt: skip
def test_read_ounces(engine, written, ounces):
    found = engine.value("select read_ounces(?)", [written])
    assert found == (None if ounces is None else pytest.approx(ounces, rel=1e-12))


@pytest.mark.parametrize(
    ("written", "fahrenheit"),
    [
        ("84", 84), ("84 F", 84), ("84.5°F", 84.5), ("84 deg", 84), ("84 degrees", 84), ("84 deg F", 84), ("84°", 84),
        ("29 C", 84.2), ("29°C", 84.2), ("29 º C", 84.2), ("29 degrees Celsius", 84.2), ("0 C", 32), ("100 C", 212),
        ("-40 C", -40), ("-5", -5), ("warm", None), ("72-75", None), ("84 %", None), ("300 K", None), ("", None),
    ],
)  # fmt: skip
def test_read_fahrenheit(engine, written, fahrenheit):
    # water freezes at 32 and boils at 212 degrees Fahrenheit; the scales meet at -40
    assert engine.value("select read_fahrenheit(?)", [written]) == fahrenheit


@pytest.mark.parametrize(
    ("written", "celsius"), [("29", 29), ("29 °C", 29), ("29°", 29), ("212 F", 100), ("-40F", -40), ("x", None)]
)
def test_read_celsius(engine, written, celsius):
    assert engine.value("select read_celsius(?)", [written]) == celsius


@pytest.mark.parametrize(
    ("written", "tons"),
    [
        ("2.5", 2.5), ("3 tons", 3), ("1.5T", 1.5), ("3 TR", 3), ("2 1/2 ton", 2.5), ("2-1/2", 2.5), ("2½ tons", 2.5),
        ("30,000 BTU", 2.5), ("24000 btu/h", 2), ("36000 Btuh", 3), ("24,000 BTU per hour", 2), ("30 kBtu", 2.5),
        ("36 MBH", 3), ("3.516853 kW", 1), ("7033.706 W", 2),
        ("3 hp", None), ("36 mm", None), ("big", None), ("1/2/3", None), ("2-3 tons", None), ("", None),
    ],
)  # fmt: skip
def test_read_tons(engine, written, tons):
    found = engine.value("select read_tons(?)", [written])
    assert found == (None if tons is None else pytest.approx(tons, rel=1e-12))


@pytest.mark.parametrize(
    ("written", "metres"),
    [
        ("12", 12), ("-12.5", -12.5), ("12 m", 12), ("12 meters", 12), ("40 ft", 12.192), ("-5 ft", -1.524),
        ("12'", 3.6576), ("12' 6\"", 3.81), ("12′6″", 3.81), ("12 ft 6 in", 3.81), ("2 ft 6", 0.762), ("6\"", 0.1524),
        ("300 cm", 3), ("3 yd", 2.7432), ("0.5 km", 500), ("1 1/2 ft", 0.4572), ("near the gate", None),
        ("12 by 6", None), ("", None),
    ],
)  # fmt: skip
def test_read_metres(engine, written, metres):
    found = engine.value("select read_metres(?)", [written])
    assert found == (None if metres is None else pytest.approx(metres, rel=1e-12))


@pytest.mark.parametrize(
    ("macro", "written", "value"),
    [
        # the worse end of a range: a lead time's upper, a shelf life's lower (our convention)
        *(("days", *pair) for pair in [
            ("14", 14), ("14 days", 14), ("2 weeks", 14), ("2-3 weeks", 21), ("2 to 3 wks", 21), ("2–3 weeks", 21),
            ("3-5", 5), ("1 month", 30), ("5 business days", 7), ("48 h", 2), ("1 yr", 365), ("next day", 1),
            ("same-day", 0), ("1/2 week", 3.5), ("soon", None), ("in stock", None), ("", None),
        ]),
        *(("months", *pair) for pair in [
            ("24", 24), ("24 months", 24), ("24 mo", 24), ("2 yrs", 24), ("1.5 years", 18), ("18-24 months", 18),
            ("60 days", 2), ("forever", None),
        ]),
        *(("volts", *pair) for pair in [
            ("370", 370), ("370V", 370), ("370 VAC", 370), ("24 V AC", 24), ("208 volts", 208), ("0.44 kV", 440),
            ("370/440", None), ("370 mfd", None), ("high", None),
        ]),
        *(("rated_volts", *pair) for pair in [
            ("440", 440), ("370/440", 440), ("370/440 VAC", 440), ("370V/440V", 440), ("440/370", None),
            ("250 VAC", 250),
        ]),
        *(("amps", *pair) for pair in [
            ("5.2", 5.2), ("5.2A", 5.2), ("5,2 amps", 5.2), ("850 mA", 0.85), ("5 V", None),
        ]),
        *(("hertz", *pair) for pair in [("60", 60), ("60 Hz", 60), ("50 hertz", 50), ("50/60", None), ("60 V", None)]),
        *(("percent", *pair) for pair in [
            ("6", 6), ("6%", 6), ("±6 %", 6), ("+/- 6%", 6), ("+-6", 6), ("6 pct", 6), ("-5/+5%", 5), ("−5/+5 %", 5),
            ("+5%/-5%", 5), ("2,5 %", 2.5), ("-5/+10%", None), ("-0/+20%", None), ("5-6%", None), ("low", None),
        ]),
    ],
)  # fmt: skip
def test_the_other_units(engine, macro, written, value):
    assert engine.value(f"select read_{macro}(?)", [written]) == (None if value is None else pytest.approx(value))


@pytest.mark.parametrize(
    ("written", "unit", "together"),
    [("1.5", "h", "1.5 h"), ("90 min", "h", "90 min"), ("1:30", "h", "1:30"), ("29", "C", "29 C"),
     ("84 °F", "C", "84 °F"), ("45/5", "nF", "45/5 nF"), ("2-3", "weeks", "2-3 weeks"), ("1E+05", "g", "1E+05 g"),
     ("12'", "m", "12'"), ("", "h", ""), ("-", "h", "-"), (None, "h", None), ("12", None, "12")],
)  # fmt: skip
def test_a_bare_number_gets_the_headers_unit_and_no_other_does(engine, written, unit, together):
    assert engine.value("select with_unit(?, ?)", [written, unit]) == together


def number_columns():
    tables = {**TABLES, "sheet": SHEET}
    return [(name, column) for name, table in tables.items() for column in table.columns if column.kind == "number"]


def test_every_column_of_numbers_has_its_reader_and_it_reads_a_plain_number(engine):
    for table, column in number_columns():
        assert engine.value(f"select {care_macro(table, column)}(?)", ["12.5"]) == 12.5, (table, column.name)
    units = {column.unit for _, column in number_columns()}
    assert set(UNIT_MACROS) <= units
    assert all(any(name == table and c.name == column for table, c in number_columns()) for name, column in OWN_MACROS)


@pytest.mark.parametrize(
    ("table", "column", "unit", "written", "meant"),
    [
        ("visits", "labor_minutes", "h", ["1.5", "90 min", "1:30", "2", ""], [90, 90, 90, 120, None]),
        ("visits", "indoor_f", "C", ["29", "84 F", "-5", "29,5"], [84.2, 84, 23, 85.1]),
        ("visits", "refrigerant_added_oz", "lb", ["1.5", "6 oz", "1 lb 6 oz"], [24, 6, 22]),
        ("equipment", "charge_oz", "kg", ["0.45359237"], [16]),
        ("equipment", "tons", "btu", ["24000", "2 tons", "30,000"], [2, 2, 2.5]),
        ("equipment", "herm_uf", "nF", ["45000", "45 uF", "45000/5000"], [45, 45, 45]),
        ("sheet", "herm_found_uf", "mF", ["44.2", "0.0442", "44 uF"], [44.2, 44.2, 44]),
        ("catalogue", "lead_time_days", "weeks", ["2", "2-3", "5 days"], [14, 21, 5]),
        ("catalogue", "shelf_life_months", "years", ["2", "18 months"], [24, 18]),
        ("buildings", "x", "ft", ["100", "3 m", "-50"], [30.48, 3, -15.24]),
    ],
)  # fmt: skip
def test_a_column_in_another_unit(engine, table, column, unit, written, meant):
    source = {**TABLES, "sheet": SHEET}[table].column(column)
    sql = care_sql(table, source, "cell", unit=unit)
    rows = engine.rows(f"select {sql} from (select unnest(?) as cell)", [written])
    assert [row[0] for row in rows] == [None if value is None else pytest.approx(value, rel=1e-9) for value in meant]


def test_units_by_the_header_and_beside_the_value_agree(engine):
    """What a column's unit makes of a bare number is what the reader makes of the number with that unit behind."""
    for table, name, unit in [
        ("visits", "labor_minutes", "h"),
        ("visits", "indoor_f", "C"),
        ("equipment", "tons", "kw"),
    ]:
        column = TABLES[table].column(name)
        numbers = ["0", "1", "7.25", "100", "0.1"]
        sql = care_sql(table, column, "cell", unit=unit)
        by_header = [row[0] for row in engine.rows(f"select {sql} from (select unnest(?) as cell)", [numbers])]
        beside = read_all(engine, care_macro(table, column), [f"{number} {unit}" for number in numbers])
        assert by_header == [pytest.approx(value, abs=1e-8) for value in beside]
