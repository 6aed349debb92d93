"""Microfarads: readings, ratings of one or two sections, ranges, and slips of the unit.

SI prefixes (SI Brochure, 9th edition, table 7): m 1e-3, µ 1e-6, n 1e-9, p 1e-12. That the trade writes MFD, and mF
where it means µF, is common practice (no source). Printed start ranges such as 88-108 and 270-324 are the encyclopaedic
page's and trade lists' as quoted in the project's fact sheet; their upper end is about 1.2 of the lower.
"""

import pytest
from macro_engine import macro_engine, read_all

from fleet.ingest.care import PARTNERS, second_sql
from fleet.store.schema import EQUIPMENT


@pytest.fixture(scope="module")
def engine(tmp_path_factory):
    with macro_engine(tmp_path_factory.mktemp("engine")) as database:
        yield database


SAME = [
    "44.2", "44,2", "44.2 uF", "44,2uF", "44.2 µF", "44.2 μF", "44.2\u00a0µF", "44.2 MFD", "44.2 mfd.", "44.2 Mfd",
    "44.2µ",
    "44.2 micro farads", "44.2 microfarad", "44.2 micro-farads", "44.2 u F", "44.2 UF", "44.2 �F", "44.2 ?F",
    "44.2 ÂµF",
    "44200 nF", "44,200 nF", "44200000 pF", "0.0442 mF", "0.0000442 F", "44.2 mF", "44.2 MF", "44.2 F",
    "44.2 uF 370V", "44.2 uF 370 VAC", "44.2 MFD 370/440 VAC", "44.2 mfd @ 440 V", "44.2 uF/440V", "44.2 uF ±6%",
    "44.2 +/-6%", "44.2 uF +/- 6 %", "44.2 uF 6%", "44.2 uF, 440 VAC, 50/60 Hz", "44.2 MFD 440V round", "44.2/440",
]  # fmt: skip


def test_one_reading_in_forty_spellings(engine):
    written = [text for text in SAME if text != "44.2e0"]
    assert dict(zip(written, read_all(engine, "read_microfarads", written), strict=True)) == dict.fromkeys(
        written, 44.2
    )


@pytest.mark.parametrize(
    "written",
    ["", "ok", "~45", "<5", "45 or 50", "45 V", "45 5", "45+5%", "900 mF", "45 kF", "45 uF 5 uF", "45/5", "88-108",
     "45 oz",
     "40+5+5", "370/440", "nF", "1.2.3 uF", "45 ohm"],
)  # fmt: skip
def test_what_is_no_single_reading_is_not_read_as_one(engine, written):
    assert engine.value("select read_microfarads(?)", [written]) is None


@pytest.mark.parametrize(
    ("written", "microfarads"),
    [("0", 0), ("0.0 uF", 0), ("0 mF", 0), ("-5", -5), ("600 mF", 600), ("2 mF", 2000), ("1.5 mF", 1500), ("3 mF", 3),
     ("0.5 mF", 500), ("601 mF", None), ("5 nF", 0.005)],
)  # fmt: skip
def test_the_standards_millifarad_and_the_trades(engine, written, microfarads):
    assert engine.value("select read_microfarads(?)", [written]) == microfarads


SECTIONS = [
    "45/5", "45+5", "45 + 5", "45 x 5", "45x5", "45×5", "45&5", "45 & 5 uF", "45-5", "45–5", "45 and 5", "45/5 MFD",
    "45/5 MFD 440V", "45/5/440", "45/5 370", "45/5/370/440", "45+5 MFD 370/440 VAC", "45uF/5uF", "45 MFD / 5 MFD",
    "45 herm/5 fan", "45/5 uf 440 vac 6%", "45/5 mfd ±5% 440VAC 50/60Hz", "45/5 MFD 440V round", "45000/5000 nF",
    "45/5 mF",
]  # fmt: skip
RANGES = ["88-108", "88–108", "88 - 108 uF", "88 to 108", "88/108", "88-108 MFD", "88-108 uF 250V",
          "88-108 mfd 250 VAC",
          "88000-108000 nF", "88-108/250"]  # fmt: skip


def test_two_sections_are_told_from_a_range(engine):
    n, m = len(SECTIONS), len(RANGES)
    assert read_all(engine, "herm_microfarads", SECTIONS + RANGES) == [45] * n + [None] * m
    assert read_all(engine, "fan_microfarads", SECTIONS + RANGES) == [5] * n + [None] * m
    assert read_all(engine, "low_microfarads", SECTIONS + RANGES) == [None] * n + [88] * m
    assert read_all(engine, "high_microfarads", SECTIONS + RANGES) == [None] * n + [108] * m
    assert read_all(engine, "first_microfarads", SECTIONS + RANGES) == [45] * n + [88] * m
    assert read_all(engine, "second_microfarads", SECTIONS + RANGES) == [5] * n + [108] * m


@pytest.mark.parametrize(
    "written", ["21-25", "30-36", "43-53", "64-77", "108-130", "189-227", "208-250", "270-324", "340-408"]
)
def test_the_printed_ranges_of_start_capacitors(engine, written):
    low, high = written.split("-")
    assert engine.rows("select low_microfarads($1), high_microfarads($1)", [written]) == [(float(low), float(high))]


@pytest.mark.parametrize(
    "written", ["5/45", "45/80", "40-40", "45uF/5nF", "40+5+5", "108-300", "45/5/3", "x/5", "45/", "/5"]
)
def test_what_may_mean_anything_is_left_alone(engine, written):
    macros = ["herm_microfarads", "fan_microfarads", "low_microfarads", "high_microfarads"]
    assert [engine.value(f"select {macro}(?)", [written]) for macro in macros] == [None] * 4


def test_a_single_rating_is_the_compressors_or_the_lower_end(engine):
    written = ["45", "45 uF", "45/440", "45/0", "40/40"]
    assert read_all(engine, "herm_microfarads", written) == [45, 45, 45, 45, 40]
    assert read_all(engine, "fan_microfarads", written) == [None, None, None, None, 40]
    assert read_all(engine, "low_microfarads", ["88", "88 uF"]) == [88, 88]
    assert read_all(engine, "high_microfarads", ["88", "88 uF"]) == [None, None]


@pytest.mark.parametrize(
    ("written", "note"),
    [
        ("44.2 mF", "millifarad_slip: 44.2 mF read as microfarads"),
        ("45 F", "farad_slip: 45 F read as microfarads"),
        ("45/5 MF", "millifarad_slip: 45/5 MF read as microfarads"),
        ("44200 nF", "unit_converted: 44200 nF read as 44.2 uF"),
        ("0.0442 mF", "unit_converted: 0.0442 mF read as 44.2 uF"),
        ("45000/5000 nF", "unit_converted: 45000/5000 nF read as 45/5 uF"),
        ("88000-108000 nF", "unit_converted: 88000-108000 nF read as 88-108 uF"),
        *(
            (quiet, None)
            for quiet in ("44.2", "44.2 uF", "44.2 MFD", "45/5", "45/5 µF", "900 mF", "5/45 nF", "word", "")
        ),
    ],
)
def test_what_is_said_of_a_unit_that_was_converted(engine, written, note):
    assert engine.value("select microfarad_note(?)", [written]) == note


@pytest.mark.parametrize(
    ("written", "unit", "plain"),
    [("44.2 mfd", "mfd", "uF"), ("44,2µF", "µF", "uF"), ("44.2 MFD.", "MFD", "uF"),
     ("44.2 micro farads", "micro farads", "uF"),
     ("44.2 nF", "nF", "nF"), ("44 mF", "mF", "mF"), ("9 pF", "pF", "pF"), ("9 ?F", "?F", "uF"), ("9 V", "V", "V"),
     ("44.2", None, None), ("1e5", None, None), ("", None, None)],
)  # fmt: skip
def test_the_unit_behind_a_reading(engine, written, unit, plain):
    assert engine.rows("select unit_behind($1), plain_unit(unit_behind($1))", [written]) == [(unit, plain)]


@pytest.mark.parametrize(
    ("own", "partner", "meant"),
    [
        ("5", "45", 5),
        ("", "45/5", 5),
        ("45/5", "45/5", 5),
        ("7.5 uF", "45/5", 7.5),
        (None, "45+5 MFD", 5),
        ("", "45", None),
    ],
)
def test_a_second_number_is_looked_for_in_its_own_cell_and_in_its_partners(engine, own, partner, meant):
    sql = second_sql(EQUIPMENT.column("fan_uf"), None if own is None else "own", "partner")
    assert engine.value(f"select {sql} from (select ? as own, ? as partner)", [own, partner]) == meant
    readings = {"fan_found_uf", "fan_left_uf", "fan_new_uf"}
    assert set(PARTNERS) == {"fan_uf", "start_uf_max"} | readings
    only = second_sql(EQUIPMENT.column("fan_uf"), None, "partner", unit="nF")
    assert engine.value(f"select {only} from (select '45000/5000' as partner)") == 5
