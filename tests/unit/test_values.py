import datetime as dt
from decimal import Decimal

import pytest
from small_logs import unit, visit, write_log

from fleet.ingest import raw
from fleet.ingest.load import load_log
from fleet.store.database import Database
from fleet.store.snapshots import Store


@pytest.fixture(scope="module")
def engine(tmp_path_factory):
    folder = tmp_path_factory.mktemp("engine")
    with Database.build(folder / "a.duckdb", spill=folder / "spill") as database:
        for name in ("glance", "values", "value_dates"):
            database.run_file("fleet.ingest", name)
        yield database


@pytest.mark.parametrize(
    ("written", "number"),
    [
        ("12", 12), (" 12.5 ", 12.5), ("-3", -3), ("+3", 3), (".5", 0.5), ("1,234", 1234), ("1,234.5", 1234.5),
        ("1.234,5", 1234.5), ("44,2", 44.2), ("90 min", 90), ("5 %", 5), ("95 °F", 95), ("44.2 mfd", 44.2),
        ("44,2 MFD", 44.2), ("3 tons", 3), ("1e3", 1000),
        ("nan", None), ("inf", None), ("n/a", None), ("1,23,4", None), ("12-14", None), ("", None), ("4 4", None),
    ],
)  # fmt: skip
def test_read_number(engine, written, number):
    assert engine.value("select read_number(?)", [written]) == number


@pytest.mark.parametrize(
    ("written", "money"),
    [
        ("12", "12"), ("$1,234.50", "1234.5"), ("(12.00)", "-12"), ("-$12", "-12"), ("1.234,50 EUR", "1234.5"),
        ("12 USD", "12"), ("€ 9,90", "9.9"), ("0.0001", "0.0001"), ("free", None), ("12 or 13", None),
    ],
)  # fmt: skip
def test_read_money(engine, written, money):
    assert engine.value("select read_money(?)", [written]) == (None if money is None else Decimal(money))


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("Yes", True),
        ("Y", True),
        ("1", True),
        ("x", True),
        ("no", False),
        ("F", False),
        ("0", False),
        ("perhaps", None),
    ],
)
def test_read_yesno(engine, written, meant):
    assert engine.value("select read_yesno(?)", [written]) == meant


@pytest.mark.parametrize(
    ("written", "ounces"),
    [("22", 22), ("22 oz", 22), ("1 lb 6 oz", 22), ("2 lbs", 32), ("1.5 lb", 24), ("2# 3oz", 35), ("a lot", None)],
)
def test_read_ounces(engine, written, ounces):
    # 16 avoirdupois ounces to the pound (NIST Handbook 44, appendix C)
    assert engine.value("select read_ounces(?)", [written]) == ounces


@pytest.mark.parametrize("reader", ["number", "money", "yesno"])
@pytest.mark.parametrize("written", ["12", "-4.5", "yes", "1", "0", "no", "true", "1,234", "$3", "inf", "", "word"])
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
