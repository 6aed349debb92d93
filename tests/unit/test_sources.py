import bz2
import gzip
import io
import lzma
import os
import sqlite3
import tarfile
import zipfile
from contextlib import closing

import pytest
import xlsxwriter

from fleet.errors import SourceError
from fleet.ingest import raw
from fleet.ingest.csv_repair import SetAside
from fleet.ingest.raw import ReadError, numbered_table, open_tables
from fleet.ingest.sources import discover, kind_of, order_of_reading, sqlite_tables, table_by_name
from fleet.store.database import Database

HEADER = "visit_id,equipment_id,reported_at,notes\n"


def make_sqlite(path, script="create table visits (visit_id text)"):
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(script)
    return path


def make_workbook(path):
    with xlsxwriter.Workbook(str(path)) as book:
        book.add_worksheet("visits").write_row(0, 0, ["visit_id"])
    return path


def make_zip(path, *members):
    with zipfile.ZipFile(path, "w") as archive:
        for member in members:
            archive.writestr(member, "x")
    return path


# what a log is made of


def test_a_folder_yields_its_files_by_name_and_says_what_it_passed_over(tmp_path):
    csv_names = ("visits_2021.csv", "equipment.CSV", "weather.tsv", "stock.csv.gz")
    for name in (*csv_names, "plan.pdf", ".hidden.csv", "~$book.xlsx", "old.xls", "all.zip"):
        (tmp_path / name).write_bytes(b"a\n1\n")
    (tmp_path / "old.csv").mkdir()
    (tmp_path / "gone.csv").symlink_to(tmp_path / "nowhere.csv")
    make_workbook(tmp_path / "book.xlsx")
    make_workbook(tmp_path / "macros.XLSM")
    make_sqlite(tmp_path / "log.db")
    found = discover(tmp_path)
    assert [(file.name, file.kind) for file in found.files] == [
        ("book.xlsx", "workbook"), ("equipment.CSV", "csv"), ("log.db", "sqlite"), ("macros.XLSM", "workbook"),
        ("stock.csv.gz", "csv"), ("visits_2021.csv", "csv"), ("weather.tsv", "csv"),
    ]  # fmt: skip
    assert found.passed_over == (
        ".hidden.csv", "all.zip", "gone.csv", "old.csv", "old.xls", "plan.pdf", "~$book.xlsx",
    )  # fmt: skip


def test_what_lies_beside_a_sqlite_file_is_read_with_it_not_passed_over(tmp_path):
    with closing(sqlite3.connect(tmp_path / "log.db")) as connection:
        connection.execute("pragma journal_mode = wal")
        connection.execute("create table visits (a)")
        assert (tmp_path / "log.db-wal").exists()
        (tmp_path / "other.db-wal").write_bytes(b"x")
        assert discover(tmp_path).passed_over == ("other.db-wal",)


def test_a_missing_path_is_refused(tmp_path):
    said = r"nowhere isn't there; give a folder of CSV, XLSX and SQLite files, or one such file"
    with pytest.raises(SourceError, match=said):
        discover(tmp_path / "nowhere")
    with pytest.raises(SourceError, match="can't be read"):
        discover(tmp_path / ("x" * 300))


def test_a_folder_without_anything_readable_says_what_it_holds(tmp_path):
    (tmp_path / "plan.pdf").write_bytes(b"%PDF")
    with pytest.raises(SourceError, match=r"holds no CSV, XLSX or SQLite file \(it holds plan\.pdf\)"):
        discover(tmp_path)


def test_a_name_that_isnt_utf_8_is_refused(tmp_path):
    (tmp_path / os.fsdecode(b"visits\xff.csv")).write_bytes(b"a\n1\n")
    with pytest.raises(
        SourceError, match="visits\ufffd\\.csv: its name or its folder's isn't written in UTF-8; rename it"
    ):
        discover(tmp_path)


def test_a_pipe_is_refused(tmp_path):
    os.mkfifo(tmp_path / "visits.csv")
    with pytest.raises(SourceError, match=r"visits\.csv is neither a file nor a folder"):
        discover(tmp_path / "visits.csv")


# files are known by their content


def test_one_file_is_known_by_its_content(tmp_path):
    make_sqlite(tmp_path / "log.csv")
    make_workbook(tmp_path / "visits.txt")
    (tmp_path / "visits.csv.gz").write_bytes(gzip.compress(b"visit_id\n1\n"))
    (tmp_path / "export").write_bytes(b"visit_id\n1\n")
    (tmp_path / "wide.dat").write_bytes("visit_id;µ\n1;2\n".encode("utf-16-le"))
    kinds = {file.name: discover(file).files[0].kind for file in tmp_path.iterdir()}
    assert kinds == {
        "log.csv": "sqlite", "visits.txt": "workbook", "visits.csv.gz": "csv", "export": "csv", "wide.dat": "csv",
    }  # fmt: skip


def tar_of(name):
    stream = io.BytesIO()
    with tarfile.open(fileobj=stream, mode="w") as archive:
        archive.addfile(tarfile.TarInfo(name))
    return stream.getvalue()


def zip_of(*members):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for member in members:
            archive.writestr(member, "x")
    return stream.getvalue()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"%PDF-1.7", r"is a PDF file; give a folder of CSV, XLSX and SQLite files"),
        (b"a,b\x00\n", r"is neither CSV nor XLSX nor SQLite; give"),
        (bytes(range(256)) * 20, r"is neither CSV nor XLSX nor SQLite"),
        (zip_of("visits.csv"), r"is a zip archive; unpack it first, then give the folder or file that was in it"),
        (zip_of("xl/workbook.bin", "[Content_Types].xml"), r"is a binary workbook \(\.xlsb\); save it as"),
        (zip_of("mimetype", "content.xml"), r"is an OpenDocument file; save it as \.xlsx or CSV"),
        (zip_of("xl/workbook.xml", "[Content_Types].xml")[:-9], r"is damaged \(File is not a zip file\)"),
        (bytes.fromhex("d0cf11e0a1b11ae1") + bytes(600), r"is an old workbook \(\.xls\) or one locked with a password"),
        (b"7z\xbc\xaf\x27\x1c\x00\x04", r"is a 7z archive; unpack it first"),
        (b"Rar!\x1a\x07\x01\x00", r"is a rar archive; unpack it first"),
        (bz2.compress(b"a\n1\n"), r"is a bzip2 archive; unpack it first"),
        (lzma.compress(b"a\n1\n"), r"is a xz archive; unpack it first"),
        (tar_of("visits.csv"), r"is a tar archive; unpack it first"),
        (gzip.compress(tar_of("visits.csv")), r"is packed with gzip; unpack it first"),
        (gzip.compress(zip_of("xl/workbook.xml", "[Content_Types].xml")), r"is packed with gzip; unpack it first"),
        (gzip.compress(b"SQLite format 3\x00" + bytes(99)), r"is packed with gzip; unpack it first"),
        (b"\xef\xbb\xbf\n<!DOCTYPE html><html>", r"is a web page or XML, not a table of text"),
        (b"<?xml version='1.0'?><Workbook/>", r"is a web page or XML, not a table of text; save it as \.xlsx or CSV"),
        (gzip.compress(b"a\n1\n" * 99)[:12], r"can't be read \("),
    ],
    # packed bytes hold the hour they were made; every process must call its tests the same
    ids=lambda value: value if isinstance(value, str) else "",
)  # fmt: skip
@pytest.mark.parametrize("name", ["visits.csv", "visits"])
def test_a_file_of_another_kind_is_refused_with_what_to_do(tmp_path, content, said, name):
    (tmp_path / name).write_bytes(content)
    for ask in (discover, lambda path: kind_of(path.name, path)):
        with pytest.raises(SourceError, match=rf"^{name.replace('.', '[.]')} {said}") as caught:
            ask(tmp_path / name)
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("name", "what"), [("log.db", "SQLite file"), ("log.sqlite", "SQLite file"), ("a.xlsx", "workbook")]
)
@pytest.mark.parametrize("content", [b"visit_id\n", b""])
def test_a_name_that_promises_another_kind_is_refused(tmp_path, name, what, content):
    (tmp_path / name).write_bytes(content)
    for path in (tmp_path / name, tmp_path):
        with pytest.raises(SourceError, match=rf"{name} is named like a {what} but isn't one; save it again"):
            discover(path)


def test_a_few_nul_bytes_make_no_other_kind(tmp_path):
    (tmp_path / "visits.csv").write_bytes(HEADER.encode() + b"V1,U1,2024-06-01,a\x00b\n" * 9)
    assert kind_of("visits.csv", tmp_path / "visits.csv") == "csv"


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
    make_sqlite(
        tmp_path / "log.db", "create table Visits_2020 (a); create table odd (a); create view equipment as select 1"
    )
    assert sqlite_tables(tmp_path / "log.db") == (("Visits_2020", "visits"), ("equipment", "equipment"))


def test_a_sqlite_file_without_names_of_a_log_offers_all_its_tables(tmp_path):
    make_sqlite(tmp_path / "log.db", "create table odd (a); create view other as select 1 as b")
    assert sqlite_tables(tmp_path / "log.db") == (("odd", None), ("other", None))


def test_a_sqlite_file_without_tables_is_refused(tmp_path):
    make_sqlite(tmp_path / "log.db", "pragma user_version = 7")
    with pytest.raises(SourceError, match=r"mine\.db holds no table; a log has equipment, visits"):
        sqlite_tables(tmp_path / "log.db", "mine.db")


def test_tables_are_read_in_the_contracts_order():
    assert order_of_reading(["stock", "visits", "equipment", "visits"]) == [2, 1, 3, 0]


# raw tables


def rows_of(table, folder):
    """Return a raw table's rows as DuckDB reads them: record, then the cells."""
    with Database.scratch(folder) as database:
        n = table.run(database, lambda relation: f"create table memory.main.t as select * from {relation}")
        rows = database.rows("select coalesce(record, rowid + 2), * exclude (record) from memory.main.t order by rowid")
    assert n + len(table.set_aside) == table.n_records
    return rows


def opened(folder, content, name="visits.csv", **options):
    (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    (table,) = open_tables(name, folder / name, scratch=folder / "scratch", **options)
    return table


def test_a_plain_csv_file_is_read_as_it_lies(tmp_path):
    table = opened(tmp_path, HEADER + 'V1,U1,2024-06-01,"a\n""b"""\nV2,U1,,\n')
    assert (table.repaired, table.header_record, table.path) == (False, 1, tmp_path / "visits.csv")
    assert table.sample() == [["V1", "U1", "2024-06-01", 'a\n"b"'], ["V2", "U1", "", ""]]
    assert rows_of(table, tmp_path) == [(2, "V1", "U1", "2024-06-01", 'a\n"b"'), (3, "V2", "U1", None, None)]


@pytest.mark.parametrize(
    "above",
    ["\n", "Cooling calls, 2024\n\n", "sep=,\n", '"Exported on\n2024-12-01"\n', ",,,\n,Calls,,\n"],
)
def test_what_stands_above_the_header_is_set_aside_and_counted(tmp_path, above):
    table = opened(tmp_path, above + HEADER + "V1,U1,2024-06-01,x\nV2,U2\n")
    header = len(table.set_aside)
    assert [(one.record, one.reason, one.blank) for one in table.set_aside] == [
        *((i, "above the header", True) for i in range(1, header)), (header + 2, "too_few_fields", False),
    ]  # fmt: skip
    assert (table.header_record, table.headers) == (header, ("visit_id", "equipment_id", "reported_at", "notes"))
    assert table.n_records == header + 1  # all records of the file but the header
    assert rows_of(table, tmp_path) == [(header + 1, "V1", "U1", "2024-06-01", "x")]
    assert table.sample() == [["V1", "U1", "2024-06-01", "x"]]


def test_a_line_that_names_the_delimiter_is_obeyed(tmp_path):
    table = opened(tmp_path, "sep=;\r\n" + HEADER.replace(",", ";").replace("\n", "\r\n") + "V1;U1;1,5;a, b\r\n")
    assert (table.delimiter, table.headers[1]) == (";", "equipment_id")
    assert rows_of(table, tmp_path) == [(3, "V1", "U1", "1,5", "a, b")]


def test_the_header_said_wins_over_the_guess(tmp_path):
    content = HEADER + "Ref,Unit,Day,Note\n1,U1,x,y\n"
    assert rows_of(opened(tmp_path, content, header_record=2), tmp_path) == [(3, "1", "U1", "x", "y")]
    assert opened(tmp_path, content, looks_like_header=lambda row: row[0] == "Ref").headers[0] == "Ref"
    assert opened(tmp_path, content, header_record={"visits.csv": 2}.get).headers[0] == "Ref"


def test_a_header_over_two_lines_is_read_fast(tmp_path):
    table = opened(tmp_path, '"visit_id","equip\nment_id",reported_at\nV1,U1,2024-06-01\nV2,U2,2024-06-02\n')
    assert (table.repaired, table.headers[1]) == (False, "equip\nment_id")
    assert [row[1] for row in rows_of(table, tmp_path)] == ["V1", "V2"]


def test_a_file_whose_name_looks_like_a_pattern_is_read_and_no_other(tmp_path):
    # a reader that takes names for patterns would read "visits 2.csv" for "visits [2].csv"
    names = ["visits [2].csv", "visits 2.csv", "visits*.csv", "visits?2.csv", "a'b{1,2}.csv"]
    for name in names:
        (tmp_path / name).write_text(f"{HEADER}{name.replace(',', '')},U1,2024-06-01,x\n")
    for name in names:
        (table,) = open_tables(name, tmp_path / name, scratch=tmp_path / "s [1]*")
        assert [row[1] for row in rows_of(table, tmp_path)] == [name.replace(",", "")]
        assert [row[1] for row in rows_of(table.with_repair(tmp_path / "s [1]*"), tmp_path)] == [name.replace(",", "")]


def test_tables_of_one_name_never_share_a_scratch_file(tmp_path):
    tables = []
    for place in ("a", "b"):
        (tmp_path / place).mkdir()
        (tmp_path / place / "visits.csv").write_text(f"\n{HEADER}{place},U1,2024-06-01,x\n")
        tables += open_tables("visits.csv", tmp_path / place / "visits.csv", scratch=tmp_path / "scratch")
    assert [rows_of(table, tmp_path)[0][1] for table in tables] == ["a", "b"]


@pytest.mark.parametrize("name", ["visits.csv.gz", "visits.csv", "visits"])
def test_gzip_is_read_under_any_name(tmp_path, name):
    table = opened(tmp_path, gzip.compress((HEADER + "V1,U1,2024-06-01,x\n").encode()), name)
    assert (table.repaired, rows_of(table, tmp_path)[0][1]) == (False, "V1")
    assert rows_of(table.with_repair(tmp_path / "s"), tmp_path)[0][1] == "V1"


def test_a_gzip_file_in_parts_or_padded_is_read_whole(tmp_path):
    parts = gzip.compress((HEADER + "V1,U1,2024-06-01,x\n").encode()) + gzip.compress(b"V2,U1,2024-06-02,y\n")
    assert [row[1] for row in rows_of(opened(tmp_path, parts, "visits.csv.gz"), tmp_path)] == ["V1", "V2"]
    # the fast reader refuses padding after the last part; the careful one knows it
    table = opened(tmp_path, parts + bytes(512), "visits.csv.gz")
    with pytest.raises(ReadError):
        rows_of(table, tmp_path)
    assert [row[1] for row in rows_of(table.with_repair(tmp_path / "s"), tmp_path)] == ["V1", "V2"]


@pytest.mark.parametrize("large", [False, True])
def test_a_late_odd_byte_is_noticed_by_the_fast_reader_and_costs_nothing(tmp_path, monkeypatch, large):
    if large:
        monkeypatch.setattr(raw, "LARGE", 1000)
    good = "".join(f"V{i},U1,2024-06-01,plain\n" for i in range(20_000))  # over 256 KB
    table = opened(tmp_path, (HEADER + good).encode() + "W1,U1,2024-06-01,“45 µF”\n".encode("cp1252"))
    assert (table.facts.encoding, table.repaired) == ("utf-8", False)
    with pytest.raises(ReadError):
        rows_of(table, tmp_path)
    rows = rows_of(table.with_repair(tmp_path / "s"), tmp_path)
    assert (len(rows), rows[-1]) == (20_001, (20_002, "W1", "U1", "2024-06-01", "“45 µF”"))


@pytest.mark.parametrize(
    ("encoding", "mark"),
    [("utf-8", ""), ("utf-8", "\ufeff"), ("utf-16", ""), ("utf-16-le", ""), ("utf-16-le", "\ufeff"), ("utf-16-be", ""),
     ("utf-16-be", "\ufeff"), ("cp1252", ""), ("latin-1", "")],
)  # fmt: skip
def test_every_encoding_gives_the_same_rows(tmp_path, encoding, mark):
    table = opened(tmp_path, (mark + HEADER + 'V1,U1,2024-06-01,"45 µF, é\n½"\n').encode(encoding))
    assert table.headers[0] == "visit_id"
    assert rows_of(table, tmp_path) == [(2, "V1", "U1", "2024-06-01", "45 µF, é\n½")]


@pytest.mark.parametrize("large", [False, True])
def test_a_record_swallowed_by_an_open_quote_is_found_though_both_counts_agree(tmp_path, monkeypatch, large):
    if large:
        monkeypatch.setattr(raw, "LARGE", 1000)
    lines = [f"V{i},U1,2024-06-01,{'fine' if i % 2 else ''}\n" for i in range(1000)]
    lines[500] = "V500,U1,2024-06-01,\"won't start\n"
    lines[700] = 'V700,U1,2024-06-01,fan blade 12"\n'
    table = opened(tmp_path, HEADER + "".join(lines))
    if large:
        assert not table.counting.result().regular
        table = table.with_repair(tmp_path / "s")
    assert [(one.record, one.reason) for one in table.set_aside] == [(502, "quote_not_closed")]
    rows = rows_of(table, tmp_path)
    assert [row[1] for row in rows] == [f"V{i}" for i in range(1000) if i != 500]
    assert rows[699] == (702, "V700", "U1", "2024-06-01", 'fan blade 12"')


def test_a_gzip_file_cut_off_is_refused(tmp_path):
    whole = gzip.compress((HEADER + "".join(f"V{i},U{i * 7919},x,y\n" for i in range(200_000))).encode())
    (tmp_path / "visits.csv.gz").write_bytes(whole[:-1000])
    with pytest.raises(SourceError, match=r"visits\.csv\.gz can't be read \(Compressed file ended"):
        open_tables("visits.csv.gz", tmp_path / "visits.csv.gz", scratch=tmp_path)


def test_a_numbered_file_is_a_table_of_its_own(tmp_path):
    (tmp_path / "again.csv").write_text('"4","V1","x\r\ny"\n"9","V2",""\n', newline="")
    aside = (SetAside(record=5, reason="too_few_fields", text="V3"),)
    table = numbered_table(
        "refused.csv", tmp_path / "again.csv", member="visits.csv", headers=("a", "b"), n_written=2, set_aside=aside
    )
    assert (table.name, table.n_records, table.repaired) == ("refused.csv:visits.csv", 3, True)
    assert rows_of(table, tmp_path) == [(4, "V1", "x\r\ny"), (9, "V2", None)]
    assert table.with_repair(tmp_path) is table


def test_an_empty_csv_file_is_refused(tmp_path):
    with pytest.raises(SourceError, match=r"visits\.csv is empty; one of its first lines must name the columns"):
        opened(tmp_path, "\n \n")
