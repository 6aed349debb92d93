"""SQLite files made here: odd names and values, views, files in use, logs beside them, damage."""

import hashlib
import shutil
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing

import pytest

from fleet.errors import SourceError
from fleet.ingest import sqlite_file, sqlite_rows
from fleet.ingest.raw import open_tables, raw_sqlite
from fleet.ingest.sqlite_file import list_tables, look_at_table, settle_sqlite
from fleet.store.database import Database


def make(path, *statements):
    """Write a SQLite file; a statement may be a pair of SQL and rows."""
    with closing(sqlite3.connect(path)) as connection:
        for statement in statements:
            if isinstance(statement, str):
                connection.executescript(statement)
            else:
                connection.executemany(*statement)
        connection.commit()
    return path


def rows_of(raw, folder):
    """Return a raw table's rows as DuckDB reads them, in their order."""
    with Database.scratch(folder) as database:
        n = raw.run(database, lambda relation: f"create table memory.main.t as select * from {relation}")
        rows = database.rows("select * exclude (record) from memory.main.t order by rowid")
        assert database.value("select count(record) from memory.main.t") == 0
    assert n == len(rows) == raw.n_records
    return rows


def read(folder, path, member="t"):
    raw = raw_sqlite(path.name, path, member)
    return raw.headers, rows_of(raw, folder)


@pytest.fixture(params=["fast", "plain"])
def reader(request, monkeypatch):
    """Read through the fast driver, or as if there were none for this machine."""
    used = []
    fast, plain = sqlite_rows._fast_stream, sqlite_rows._plain_stream

    def missing(table):
        msg = "no such driver"
        raise ImportError(msg)

    monkeypatch.setattr(sqlite_rows, "_fast_stream", fast if request.param == "fast" else missing)
    monkeypatch.setattr(sqlite_rows, "_plain_stream", lambda table: used.append("plain") or plain(table))
    yield request.param
    assert bool(used) == (request.param == "plain")


def test_values_come_as_text_whatever_their_type(tmp_path, reader):
    path = make(
        tmp_path / "a.db",
        "create table t (k integer primary key, b real, c, d blob, e numeric, f datetime)",
        ("insert into t values (?, ?, ?, ?, ?, ?)", [
            (1, 1.5, "x", b"abc", 12, 2460463.5),
            (2, float("inf"), "NaN", None, "n/a", 1717228800),
            (3, -0.25, "", b"", 9_007_199_254_740_993, "2024-06-01 08:30"),
        ]),
    )  # fmt: skip
    assert read(tmp_path, path) == (
        ("k", "b", "c", "d", "e", "f"),
        [
            ("1", "1.5", "x", "abc", "12", "2460463.5"),
            ("2", "Inf", "NaN", None, "n/a", "1717228800"),
            ("3", "-0.25", None, None, "9007199254740993", "2024-06-01 08:30"),
        ],
    )


def test_a_column_that_begins_empty_or_as_numbers_is_text_to_the_end(tmp_path, reader, monkeypatch):
    monkeypatch.setattr(sqlite_rows, "MOST_ROWS", 1000)
    n = 3000  # several batches: the driver would take types from the first
    path = make(
        tmp_path / "a.db",
        "create table t (a, b, c)",
        ("insert into t values (?, ?, ?)", [*((i, None, i) for i in range(n - 1)), (n - 1, "late", "word")]),
    )  # fmt: skip
    _, rows = read(tmp_path, path)
    assert [row[0] for row in rows] == [str(i) for i in range(n)]
    assert rows[-1] == (str(n - 1), "late", "word")


def test_names_may_be_what_they_like(tmp_path, reader):
    path = make(
        tmp_path / "a b's #1 50%.db",
        'create table "select ""x"" from" ("order" text, "a""b" text, "c0" text, "ä µ" text, "" text)',
        ('insert into "select ""x"" from" values (?, ?, ?, ?, ?)', [("1", "2", "3", "4", "5")]),
    )
    assert read(tmp_path, path, 'select "x" from') == (("order", 'a"b', "c0", "ä µ", ""), [("1", "2", "3", "4", "5")])


@pytest.mark.parametrize("name", ["raw_rows", "c0", "t, columns by place", "main"])
def test_a_table_may_be_called_what_the_reader_uses_itself(tmp_path, reader, name):
    path = make(tmp_path / "a.db", f'create table "{name}" (a); insert into "{name}" values (7)')
    assert read(tmp_path, path, name) == (("a",), [("7",)])


def test_a_view_is_read_like_a_table_even_with_one_name_twice(tmp_path, reader):
    path = make(
        tmp_path / "a.db",
        "create table a (k, x); create table b (k, x); insert into a values (1, 'p'); insert into b values (1, 'q')",
        "create view t as select a.*, b.*, a.x || b.x, count(*) from a join b using (k)",
    )
    headers, rows = read(tmp_path, path)
    assert rows == [("1", "p", "1", "q", "pq", "1")] if len(headers) == 6 else [("1", "p", "q", "pq", "1")]
    assert len(headers) == len(rows[0])


@pytest.mark.parametrize(
    "statements",
    [
        "create table t (k text primary key, v) without rowid",
        "create table t (k text, v, w generated always as (v || 'x') virtual)",
        "create table t (k text not null, v integer check (v > 0)) strict",
    ],
)
def test_tables_of_other_kinds(tmp_path, reader, statements):
    path = make(tmp_path / "a.db", statements, ("insert into t (k, v) values (?, ?)", [("b", 2), ("a", 1)]))
    _, rows = read(tmp_path, path)
    assert sorted(row[:2] for row in rows) == [("a", "1"), ("b", "2")]


def test_an_empty_table(tmp_path, reader):
    assert read(tmp_path, make(tmp_path / "a.db", "create table t (a, b)")) == (("a", "b"), [])


def test_two_thousand_columns(tmp_path, reader):
    names = [f"col_{i}" for i in range(2000)]  # SQLite's own limit
    path = make(
        tmp_path / "a.db",
        f"create table t ({', '.join(names)})",
        *(f"insert into t ({', '.join(names[:3] + names[-1:])}) values ({i}, 'x', null, {i * 2})" for i in range(600)),
    )
    headers, rows = read(tmp_path, path)
    assert headers == tuple(names)
    assert (len(rows), rows[7][:4], rows[-1][-1]) == (600, ("7", "x", None, None), "1198")


def test_a_database_in_utf_16(tmp_path, reader):
    path = make(
        tmp_path / "a.db", "pragma encoding = 'UTF-16le'; create table t (a, b); insert into t values ('45 µF', '東')"
    )
    assert read(tmp_path, path)[1] == [("45 µF", "東")]


def test_text_that_isnt_utf_8_takes_the_plain_reader(tmp_path):
    path = make(tmp_path / "a.db", "create table t (a, b); insert into t values (cast(x'b546' as text), 2), ('ok', 1)")
    assert read(tmp_path, path)[1] == [("\ufffdF", "2"), ("ok", "1")]


def test_a_nul_in_a_text_fails_nothing(tmp_path, reader):
    path = make(tmp_path / "a.db", "create table t (a, b); insert into t values ('a' || char(0) || 'b', 1)")
    assert read(tmp_path, path)[1] == [("a\x00b", "1")]


def test_rows_are_kept_in_order_and_batches_small_where_rows_are_long(tmp_path, monkeypatch, reader):
    monkeypatch.setattr(sqlite_rows, "BATCH_BYTES", 300_000)
    path = make(
        tmp_path / "a.db", "create table t (k, note)",
        ("insert into t values (?, ?)", [(i, "x" * 1000) for i in range(5000)]),
    )  # fmt: skip
    assert sqlite_rows._rows_of_a_batch(look_at_table("a.db", path, "t")) < 350
    _, rows = read(tmp_path, path)
    assert [int(row[0]) for row in rows] == list(range(5000))


def test_a_statement_may_take_the_first_rows_only(tmp_path, monkeypatch, reader):
    monkeypatch.setattr(sqlite_rows, "MOST_ROWS", 500)
    path = make(tmp_path / "a.db", "create table t (k)", ("insert into t values (?)", [(i,) for i in range(20_000)]))
    raw = raw_sqlite("a.db", path, "t")
    with Database.scratch(tmp_path) as database:
        raw.run(database, lambda relation: f"create table memory.main.t as select * from {relation} limit 3")
        assert database.rows("select c0 from memory.main.t") == [("0",), ("1",), ("2",)]
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("read-ahead")]


def test_the_first_rows_are_a_sample(tmp_path):
    path = make(
        tmp_path / "a.db", "create table t (k, n)", ("insert into t values (?, null)", [(i,) for i in range(999)])
    )
    assert raw_sqlite("a.db", path, "t").sample() == [[str(i), ""] for i in range(400)]


# a file in use, and what lies beside it


def test_rows_in_a_log_beside_the_file_are_read_from_a_copy(tmp_path):
    path = make(tmp_path / "a.db", "pragma journal_mode = wal; create table t (a); insert into t values (1)")
    with closing(sqlite3.connect(path)) as writer:
        writer.execute("insert into t values (2)")
        writer.commit()
        writer.execute("insert into t values (3)")  # not committed
        assert (tmp_path / "a.db-wal").stat().st_size > 0
        copies = [settle_sqlite(path, tmp_path / "scratch") for _ in range(2)]
        assert path not in copies
        assert [rows_of(raw_sqlite("a.db", copy, "t"), tmp_path) for copy in copies] == [[("1",), ("2",)]] * 2
        assert rows_of(open_tables("a.db", path, scratch=tmp_path / "scratch")[0], tmp_path) == [("1",), ("2",)]
        # the same state is the same file, so that a second load of it is known as one
        assert len({hashlib.sha256(copy.read_bytes()).digest() for copy in copies}) == 1
    assert settle_sqlite(copies[0], tmp_path / "scratch") == copies[0]


def test_a_log_without_a_program_behind_it_is_worked_in(tmp_path):
    path = make(tmp_path / "a.db", "pragma journal_mode = wal; create table t (a); insert into t values (1)")
    away = tmp_path / "away"
    away.mkdir()
    with closing(sqlite3.connect(path)) as writer:
        writer.execute("insert into t values (2)")
        writer.commit()
        for name in ("a.db", "a.db-wal"):
            shutil.copy(tmp_path / name, away / name)
    copy = settle_sqlite(away / "a.db", tmp_path / "scratch")
    assert rows_of(raw_sqlite("a.db", copy, "t"), tmp_path) == [("1",), ("2",)]
    assert sorted(file.name for file in away.iterdir()) == ["a.db", "a.db-wal"]


def test_reading_leaves_nothing_beside_the_file(tmp_path, reader):
    home = tmp_path / "home"
    home.mkdir()
    path = make(home / "a.db", "pragma journal_mode = wal; create table t (a); insert into t values (1)")
    before = path.read_bytes()
    assert before[18:20] == b"\x02\x02"  # still in write-ahead mode
    assert settle_sqlite(path, tmp_path / "scratch") == path
    assert list_tables("a.db", path) == ("t",)
    assert read(tmp_path, path)[1] == [("1",)]
    assert [file.name for file in home.iterdir()] == ["a.db"]
    assert path.read_bytes() == before


def test_what_a_broken_off_program_left_half_done_is_taken_back_in_a_copy(tmp_path):
    path = make(
        tmp_path / "a.db", "create table t (a, b)",
        ("insert into t values (?, ?)", [(i, "x" * 50) for i in range(5000)]),
    )  # fmt: skip
    code = (
        "import os, sqlite3, sys\nc = sqlite3.connect(sys.argv[1])\nc.execute('pragma cache_size = 5')\n"
        "c.execute(\"update t set b = 'changed'\")\nos._exit(0)"
    )
    subprocess.run([sys.executable, "-c", code, path], check=True)
    assert (tmp_path / "a.db-journal").stat().st_size > 0
    before = path.read_bytes()
    copy = settle_sqlite(path, tmp_path / "scratch")
    assert {row[1] for row in rows_of(raw_sqlite("a.db", copy, "t"), tmp_path)} == {"x" * 50}
    assert path.read_bytes() == before


def test_a_file_another_program_holds_is_named_so_after_a_short_wait(tmp_path, monkeypatch):
    monkeypatch.setattr(sqlite_file, "WAIT_S", 0.1)
    path = make(tmp_path / "a.db", "create table t (a)")
    with closing(sqlite3.connect(path)) as holder:
        holder.execute("begin exclusive")
        for ask in (lambda: list_tables("a.db", path), lambda: look_at_table("a.db", path, "t")):
            with pytest.raises(SourceError, match=r"a\.db is in use by another program \(database is locked\)"):
                ask()


def test_a_file_that_is_let_go_in_time_is_read(tmp_path):
    path = make(tmp_path / "a.db", "create table t (a); insert into t values (1)")
    holder = sqlite3.connect(path, check_same_thread=False, isolation_level=None)
    holder.execute("begin exclusive")
    release = threading.Timer(0.3, lambda: holder.execute("commit"))
    release.start()
    try:
        assert look_at_table("a.db", path, "t").n_rows == 1
    finally:
        release.join()
        holder.close()


def test_a_file_that_changes_while_it_is_read_is_refused(tmp_path):
    path = make(tmp_path / "a.db", "create table t (a); insert into t values (1)")
    raw = raw_sqlite("a.db", path, "t")
    make(path, "insert into t values (2)")
    with pytest.raises(SourceError, match=r"the table t of a\.db changed while it was read, or is damaged \(2 rows"):
        rows_of(raw, tmp_path)


# damage


def large(path):
    return make(
        path, "create table t (a, b); create table other (a); insert into other values (1)",
        ("insert into t values (?, ?)", [(i, f"note {i} " + "x" * 60) for i in range(20_000)]),
    )  # fmt: skip


@pytest.mark.parametrize("patch", [bytes(4096), b"\x0d\x00\x00\x00\x99\xff\xff\x00" + b"\xaa" * 100])
def test_a_damaged_page_is_found_and_its_table_named(tmp_path, patch):
    path = large(tmp_path / "a.db")
    content = bytearray(path.read_bytes())
    content[200 * 4096 : 200 * 4096 + len(patch)] = patch
    path.write_bytes(content)
    with pytest.raises(
        SourceError, match=r"the table t of a\.db can't be read \(.+\); repair the file, or export"
    ) as e:
        raw_sqlite("a.db", path, "t")
    assert "\n" not in str(e.value)
    # what isn't damaged is read all the same
    assert rows_of(raw_sqlite("a.db", path, "other"), tmp_path) == [("1",)]


def test_rows_that_fail_under_way_refuse_the_whole_table(tmp_path):
    path = large(tmp_path / "a.db")
    raw = raw_sqlite("a.db", path, "t")
    content = bytearray(path.read_bytes())
    content[200 * 4096 : 201 * 4096] = bytes(4096)
    path.write_bytes(content)
    with Database.scratch(tmp_path) as database:
        with pytest.raises(
            SourceError, match=r"the table t of a\.db can't be read \(database disk image is malformed\)"
        ):
            raw.run(database, lambda relation: f"create table memory.main.t as select * from {relation}")
        assert database.value("select count(*) from duckdb_tables() where table_name = 't'") == 0


def test_values_that_break_the_tables_own_rules_are_no_damage(tmp_path):
    path = make(
        tmp_path / "a.db", "create table t (a integer, b text)", "insert into t values (null, 'x'), (-1, 'y')",
        "pragma writable_schema = on; "
        "update sqlite_master set sql = 'create table t (a integer not null check (a > 0), b text)'",
    )  # fmt: skip
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("pragma quick_check").fetchone() != ("ok",)
    assert read(tmp_path, path)[1] == [(None, "x"), ("-1", "y")]


@pytest.mark.parametrize("content", [b"SQLite format 3\x00" + b"\xff" * 5000, b"SQLite format 3\x00"])
def test_a_file_that_only_begins_like_one_is_refused(tmp_path, content):
    (tmp_path / "a.db").write_bytes(content)
    with pytest.raises(SourceError, match=r"a\.db (can't be read|holds no table)"):
        open_tables("a.db", tmp_path / "a.db", scratch=tmp_path / "s")


def test_a_complaint_in_no_known_letters_is_still_one_sentence(tmp_path):
    path = make(tmp_path / "a.db", "create table other (a)")
    path.write_bytes(path.read_bytes().replace(b"TABLE", b"T\xff\nLE"))
    with pytest.raises(SourceError, match=r"a\.db can't be read \(.+\); repair the file") as caught:
        open_tables("a.db", path, scratch=tmp_path / "s")
    assert "\n" not in str(caught.value)


def test_a_file_cut_off_is_refused(tmp_path):
    path = large(tmp_path / "a.db")
    path.write_bytes(path.read_bytes()[: 150 * 4096])
    with pytest.raises(SourceError, match=r"a\.db can't be read \(database disk image is malformed\)"):
        raw_sqlite("a.db", path, "t")


# which tables


def test_tables_with_a_logs_names_are_opened_else_all_that_can_be(tmp_path):
    path = make(
        tmp_path / "log.db", "create table Visits_2020 (a); create table odd (a); create view equipment as select 1"
    )
    found = open_tables("log.db", path, scratch=tmp_path)
    assert [raw.name for raw in found] == ["log.db:Visits_2020", "log.db:equipment"]
    path = make(
        tmp_path / "own.db", "create table calls (unit, date); create view gone as select * from nowhere",
        "create view parts as select 1 as part",
    )  # fmt: skip
    assert [raw.member for raw in open_tables("own.db", path, scratch=tmp_path)] == ["calls", "parts"]


def test_a_view_of_a_log_that_cant_be_read_is_refused(tmp_path):
    path = make(tmp_path / "log.db", "create table equipment (a); create view visits as select * from nowhere")
    with pytest.raises(
        SourceError, match=r"the table visits of log\.db can't be read \(no such table: main\.nowhere\)"
    ):
        open_tables("log.db", path, scratch=tmp_path)
    path = make(tmp_path / "own.db", "create view gone as select * from nowhere")
    with pytest.raises(SourceError, match=r"the table gone of own\.db can't be read"):
        open_tables("own.db", path, scratch=tmp_path)


def test_a_damaged_table_is_never_left_out_because_others_can_be_read(tmp_path):
    path = make(
        tmp_path / "own.db", "create table units (unit)",
        "create table calls (a, b)", ("insert into calls values (?, ?)", [(i, "x" * 60) for i in range(20_000)]),
    )  # fmt: skip
    content = bytearray(path.read_bytes())
    content[200 * 4096 : 201 * 4096] = bytes(4096)
    path.write_bytes(content)
    with pytest.raises(SourceError, match=r"the table calls of own\.db can't be read \(database disk image"):
        open_tables("own.db", path, scratch=tmp_path)
