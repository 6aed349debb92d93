import gzip
import sqlite3

import pytest

from fleet.errors import SourceError
from fleet.ingest.sources import discover, order_of_reading, sqlite_tables, table_by_name


def test_a_folder_yields_its_csv_files_by_name_and_says_what_it_passed_over(tmp_path):
    for name in ("visits_2021.csv", "equipment.CSV", "weather.tsv", "stock.csv.gz", "plan.pdf", ".hidden.csv"):
        (tmp_path / name).write_bytes(b"a\n1\n")
    (tmp_path / "old").mkdir()
    found = discover(tmp_path)
    assert [file.name for file in found.files] == ["equipment.CSV", "stock.csv.gz", "visits_2021.csv", "weather.tsv"]
    assert found.passed_over == (".hidden.csv", "old", "plan.pdf")


def test_a_missing_path_is_refused(tmp_path):
    with pytest.raises(SourceError, match=r"nowhere isn't there; give a folder of CSV files"):
        discover(tmp_path / "nowhere")


def test_a_folder_without_csv_points_to_its_sqlite_file(tmp_path):
    (tmp_path / "log.sqlite").write_bytes(b"")
    with pytest.raises(SourceError, match=r"holds no CSV file; to load log\.sqlite, name the file itself"):
        discover(tmp_path)


@pytest.mark.parametrize("content", [b"%PDF-1.7", b"a,b\x00\n"])
def test_a_file_of_another_kind_is_refused(tmp_path, content):
    file = tmp_path / ("visits.pdf" if content.startswith(b"%") else "visits.csv")
    file.write_bytes(content)
    with pytest.raises(SourceError, match="is neither CSV nor SQLite"):
        discover(file)


def test_a_sqlite_name_without_sqlite_content_is_refused(tmp_path):
    (tmp_path / "log.db").write_bytes(b"visit_id\n")
    with pytest.raises(SourceError, match=r"log\.db is named like a SQLite file but isn't one"):
        discover(tmp_path / "log.db")


def test_one_file_is_known_by_its_content(tmp_path):
    with sqlite3.connect(tmp_path / "log.csv") as connection:
        connection.execute("create table visits (visit_id text)")
    connection.close()
    (tmp_path / "visits.csv.gz").write_bytes(gzip.compress(b"visit_id\n1\n"))
    assert discover(tmp_path / "log.csv").files[0].kind == "sqlite"


@pytest.mark.parametrize(
    ("name", "table"),
    [
        ("visits_2024.csv", "visits"),
        ("Visits 2024.csv", "visits"),
        ("parts-used.csv", "parts_used"),
        ("properties.csv", "properties"),
        ("log.csv", None),
    ],
)
def test_a_file_belongs_to_the_table_its_name_begins_with(name, table):
    assert table_by_name(name) == table


def test_sqlite_tables_are_matched_and_others_left_out(tmp_path):
    with sqlite3.connect(tmp_path / "log.db") as connection:
        connection.executescript(
            "create table Visits_2020 (a); create table odd (a); create view equipment as select 1"
        )
    connection.close()
    assert sqlite_tables(tmp_path / "log.db") == (("Visits_2020", "visits"), ("equipment", "equipment"))


def test_a_sqlite_file_without_log_tables_is_refused(tmp_path):
    with sqlite3.connect(tmp_path / "log.db") as connection:
        connection.execute("create table odd (a)")
    connection.close()
    with pytest.raises(SourceError, match=r"log\.db has no table of a service log \(its tables: odd\)"):
        sqlite_tables(tmp_path / "log.db")


def test_tables_are_read_in_the_contracts_order():
    assert order_of_reading(["stock", "visits", "equipment", "visits"]) == [2, 1, 3, 0]
