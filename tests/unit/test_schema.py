"""The schema says what the contract says, and the loaded tables are what the schema says."""

import datetime as dt

import pytest
from small_logs import unit, visit, write_log

from fleet.errors import SchemaError
from fleet.ingest.load import load_log
from fleet.store.schema import GROUPING_COLUMNS, SHEET_COLUMNS, SQL_TYPES, TABLES, quote_identifier, table
from fleet.store.snapshots import Store


def test_every_column_has_a_known_kind():
    for described in (*TABLES.values(),):
        assert {column.kind for column in described.columns} <= set(SQL_TYPES)
    assert {column.kind for column in SHEET_COLUMNS} <= set(SQL_TYPES)


@pytest.mark.parametrize("name", list(TABLES))
def test_keys_and_names_are_sound(name):
    described = TABLES[name]
    names = [column.name for column in described.columns]
    assert described.name == name
    assert described.grain.startswith("one row a ")
    assert len(names) == len(set(names))
    assert set(described.key) <= set(names)


def test_only_these_columns_are_needed():
    needed = {name: {c.name for c in t.columns if c.needed} for name, t in TABLES.items()}
    assert needed == {
        "equipment": {"equipment_id", "building"},
        "visits": {"equipment_id", "reported_at"},
        "readings": {"visit_id", "component"},
        "parts_used": {"visit_id"},
        "catalogue": {"part_no", "component"},
        "stock": {"location", "part_no"},
        "weather": {"date"},
        "coverage": {"from_date", "to_date"},
        "properties": {"property"},
        "buildings": {"building"},
        "occupancy": {"equipment_id", "vacant_from"},
    }


def test_columns_with_units_say_them_in_their_name_or_unit():
    for described in TABLES.values():
        for column in described.columns:
            if column.name.endswith("_uf"):
                assert column.unit == "microfarads"
            if column.kind == "money":
                assert column.unit.startswith("money")


def test_an_unknown_table_or_column_is_refused():
    with pytest.raises(SchemaError, match="there is no table 'visit'; a log has equipment, visits"):
        table("visit")
    with pytest.raises(SchemaError, match="table visits has no column 'when'; it has visit_id"):
        table("visits").column("when")
    assert table("visits").column("labor_cost").sql_type == "decimal(18,4)"


def test_identifiers_are_quoted_and_checked():
    assert quote_identifier('a"b') == '"a""b"'
    assert quote_identifier("building", GROUPING_COLUMNS) == '"building"'
    with pytest.raises(SchemaError, match="'notes; drop' is not a column to group by"):
        quote_identifier("notes; drop", GROUPING_COLUMNS)
    with pytest.raises(SchemaError, match="can't be a column name"):
        quote_identifier("a\x00")


def test_the_clean_tables_have_the_declared_columns(tmp_path):
    log = write_log(tmp_path / "log", equipment=[unit("U1")], visits=[visit("V1", "U1", "2024-06-01")])
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=dt.date(2025, 1, 1))
    read_otherwise = {
        "readings": {"value", "unit", "volts", "amps", "hertz"},  # value_uf is made of them
        "weather": {"high_c", "low_c"},  # become high_f and low_f
    }
    with store.open() as database:
        for name, described in TABLES.items():
            rows = database.rows(
                "select column_name, lower(data_type) from duckdb_columns() where database_name = 'log' "
                "and schema_name = 'clean' and table_name = ?",
                [described.clean_name],
            )
            types = dict(rows)
            for column in described.columns:
                if column.name in read_otherwise.get(name, set()):
                    continue
                assert column.name in types, (name, column.name)
                if name != "properties":  # working hours become times there
                    assert types[column.name].replace(" ", "") == column.sql_type.replace(" ", ""), (name, column.name)
