"""The store: one engine, fresh cursors, numbered snapshots, one atomic pointer."""

import datetime as dt
import subprocess
import sys
import threading

import pandas as pd
import pyarrow as pa
import pytest
from small_logs import unit, visit, write_log

from fleet.errors import StoreError
from fleet.ingest.load import load_log, rebuild
from fleet.store.database import Database, EngineError, read_sql
from fleet.store.readers import csv_relation, numbered_csv_relation
from fleet.store.snapshots import FORMAT, LoadEntry, Manifest, SourceEntry, Store, write_atomically


@pytest.fixture
def store(tmp_path):
    log = write_log(tmp_path / "log", equipment=[unit("U1")], visits=[visit("V1", "U1", "2024-06-01")])
    store = Store(tmp_path / "store")
    load_log(log, store, loaded_on=dt.date(2025, 1, 1))
    return store


@pytest.fixture
def database(tmp_path):
    with Database.build(tmp_path / "a.duckdb", spill=tmp_path / "spill") as database:
        yield database


def test_an_empty_store_creates_nothing_and_says_what_to_run(tmp_path):
    store = Store(tmp_path / "store")
    assert store.manifest() == Manifest()
    with pytest.raises(StoreError, match=r"nothing is loaded in .*store; run: dogdays load FOLDER_OR_FILE --store"):
        store.data_version()
    assert not store.path.exists()


def test_a_manifest_comes_back_from_its_json():
    source = SourceEntry(name="visits.csv", sha256="ab", n_bytes=3)
    entry = LoadEntry(number=1, loaded_on="2025-01-01", origin="log", options={"dates": None}, sources=(source,))
    manifest = Manifest(snapshot="snap-1.duckdb", loads=(entry,))
    assert Manifest.from_json(manifest.to_json()) == manifest


def test_a_broken_manifest_is_said(store):
    (store.path / "manifest.json").write_text("{")
    with pytest.raises(StoreError, match=r"manifest\.json can't be read .* restore it"):
        store.open()


def test_a_store_of_another_format_says_to_rebuild(store):
    file = store.path / "manifest.json"
    file.write_text(file.read_text().replace(f'"snapshot_format": {FORMAT}', '"snapshot_format": 0'))
    with pytest.raises(
        StoreError, match=rf"was built in format 0, this version reads format {FORMAT}; run: dogdays rebuild"
    ):
        store.open()
    rebuild(store)
    with store.open() as database:
        assert database.value("select count(*) from log.clean.visit") == 1


def test_a_missing_snapshot_is_said(store):
    store.snapshot_path(store.snapshot_name()).unlink()
    with pytest.raises(StoreError, match=r"the snapshot is gone from .*; run: dogdays rebuild"):
        store.open()
    rebuild(store)
    assert store.open().value("select count(*) from log.clean.visit") == 1


def test_a_broken_snapshot_is_said(store):
    store.snapshot_path(store.snapshot_name()).write_bytes(b"nothing a snapshot would hold" * 1000)
    with pytest.raises(StoreError, match=r"the snapshot snap-1\.duckdb can't be opened .* load the log again"):
        store.open()


def test_a_snapshot_is_read_only_and_shut_off_from_other_files(store, tmp_path):
    (tmp_path / "secret.csv").write_text("a\n1\n")
    with store.open() as database:
        with pytest.raises(EngineError, match="read-only"):
            database.run("create table log.clean.more (a int)")
        with pytest.raises(EngineError, match="disabled by configuration"):
            database.rows(f"from read_csv('{tmp_path / 'secret.csv'}')")
        with pytest.raises(EngineError):
            database.run("set enable_external_access = true")


def test_a_reader_keeps_its_snapshot_while_a_new_one_is_loaded(store, tmp_path):
    before = store.snapshot_name()
    with store.open() as old:
        more = write_log(tmp_path / "more", visits=[visit("V2", "U1", "2024-06-02")])
        load_log(more, store, loaded_on=dt.date(2025, 1, 1))
        assert old.value("select count(*) from log.clean.visit") == 1
        with store.open() as new:
            assert new.value("select count(*) from log.clean.visit") == 2
    assert (before, store.snapshot_name()) == ("snap-1.duckdb", "snap-2.duckdb")
    assert [file.name for file in (store.path / "snapshots").iterdir()] == ["snap-2.duckdb"]


def test_another_process_reads_while_this_one_does(store):
    ask = (
        "import sys; from pathlib import Path; from fleet.store.snapshots import Store; "
        "print(Store(Path(sys.argv[1])).open().value('select count(*) from log.clean.visit'))"
    )
    with store.open():
        done = subprocess.run([sys.executable, "-c", ask, store.path], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "1"


def test_a_second_load_waits_its_turn(store):
    with store.lock(), pytest.raises(StoreError, match="another load is running"), store.lock():
        pass
    with store.lock():
        pass


def test_a_lock_ends_with_the_process_that_holds_it(store):
    holds = (
        "import sys, time, pathlib; from fleet.store.snapshots import Store\n"
        f"with Store(pathlib.Path({str(store.path)!r})).lock(): print('held', flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", holds], stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(StoreError, match="another load is running"), store.lock():
            pass
        holder.kill()
    with store.lock():
        assert (store.path / "lock").exists()


def test_threads_get_their_own_answers(store):
    # one shared cursor hands one thread another's answer; a fresh one per statement never does
    wrong = []

    def ask(number):
        for i in range(200):
            expected = number * 1000 + i
            if database.value("select ?::int", [expected]) != expected:
                wrong.append(expected)

    with store.open() as database:
        threads = [threading.Thread(target=ask, args=(number,)) for number in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert wrong == []


def test_rows_value_and_frame(database):
    assert database.rows("select 1, 'a' union all select 2, 'b' order by 1") == [(1, "a"), (2, "b")]
    assert database.value("select 5 where false") is None
    assert database.frame("select $n as n", {"n": 3}).n.tolist() == [3]


def test_arrow_batches_and_frames_are_read_by_name(database):
    reader = pa.RecordBatchReader.from_batches(
        pa.schema([("a", pa.string())]), iter([pa.record_batch([pa.array(["x", "y"])], names=["a"])])
    )
    assert database.run_with("create table log.one as select * from given", "given", reader) == 2
    database.run_frame("create table log.two as select * from given", "given", pd.DataFrame({"a": [1, 2, 3]}))
    assert database.value("select count(*) from log.two") == 3
    with pytest.raises(EngineError, match="given"):
        database.rows("from given")


def test_a_finished_snapshot_has_no_write_ahead_log(tmp_path):
    database = Database.build(tmp_path / "a.duckdb", spill=tmp_path / "spill")
    database.run("create table log.a as select 1 as n")
    database.finish()
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a.duckdb", "spill"]
    with Database.read(tmp_path / "a.duckdb", spill=tmp_path / "spill") as database:
        assert database.value("select n from log.a") == 1


def test_a_file_is_replaced_whole(tmp_path):
    file = tmp_path / "a.json"
    write_atomically(file, "old")
    write_atomically(file, "new")
    assert file.read_text() == "new"
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.json"]


def test_readers_never_guess(database, tmp_path):
    file = tmp_path / "it's.csv"
    file.write_text("a;b\n007;2024-01-02\n")
    assert database.rows(f"from {csv_relation(file, 2, ';')}") == [("007", "2024-01-02", None)]
    file.write_text("3,x,y\n")
    assert database.rows(f"from {numbered_csv_relation(file, 2)}") == [("x", "y", 3)]


def test_sql_is_kept_in_files():
    assert read_sql("fleet.ingest", "glance").startswith("--")
