"""A load under bad conditions: killed at any moment, a full disk, a log in use, a store that can't be written."""

import datetime as dt
import json
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from fleet.errors import SourceError, StoreError
from fleet.ingest.load import load_log
from fleet.store.snapshots import Store

HERE = Path(__file__).parent
LOADED_ON = dt.date(2025, 1, 1)
ROUNDS = 84
N_VISITS = 150
HEADER = "visit_id,equipment_id,reported_at,notes\n"


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs processes that fork")
def test_a_load_killed_at_any_moment_is_whole_or_not_there(tmp_path):
    done = subprocess.run(
        [sys.executable, "-W", "ignore", str(HERE / "kill_rounds.py"), str(tmp_path), str(ROUNDS)],
        capture_output=True, text=True, check=False, timeout=600,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    rounds = [json.loads(line) for line in done.stdout.splitlines()]
    assert [seen for seen in rounds if "error" in seen] == []
    assert len(rounds) == ROUNDS
    assert all(seen["balanced"] for seen in rounds)
    # whole loads only: each adds its visits and corrects the one all share
    assert all(seen["visits"] % N_VISITS == 1 for seen in rounds)
    killed = [seen["round"] for seen in rounds if seen["killed"]]
    assert len(killed) >= 50
    loaded, last = 1, 0
    for seen in rounds:
        n = (seen["visits"] - 1) // N_VISITS
        assert n in (loaded, loaded + 1)
        assert seen["money"] == (seen["round"] if n > loaded else last)
        if n > loaded or seen["round"] % 10 == 0:  # every tenth is loaded again, undisturbed
            loaded, last = loaded + 1, seen["round"]
    assert not list((tmp_path / "store" / "sources").glob("*.draft"))


def write_visits(folder: Path, n: int = 5) -> Path:
    folder.mkdir()
    rows = "".join(f"V{i},U1,2024-06-01,{'note ' * 40}{i}\n" for i in range(n))
    (folder / "visits.csv").write_text(HEADER + rows)
    return folder


FULL = """
import datetime as dt, resource, signal, sys
from pathlib import Path
from fleet.cli import main
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv.pop(1)), resource.RLIM_INFINITY))
main()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on the size of files there")
@pytest.mark.parametrize("room", [0, 10_000, 300_000, 800_000])
def test_a_full_disk_is_told_in_one_line_and_costs_nothing(tmp_path, room):
    store = Store(tmp_path / "store")
    load_log(write_visits(tmp_path / "first"), store, loaded_on=LOADED_ON)
    before = store.manifest()
    more = write_visits(tmp_path / "more", 6000)
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(room), "load", str(more), "--store", str(store.path)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "couldn't be written" in done.stderr or "can't be written" in done.stderr
    assert store.manifest() == before
    with store.open() as database:
        assert database.value("select count(*) from log.clean.visit") == 5
    assert load_log(more, store, loaded_on=LOADED_ON).total("records") == 6005
    assert len(list((store.path / "snapshots").iterdir())) == 1


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_store_that_cant_be_written_is_told(tmp_path):
    store = tmp_path / "store"
    store.mkdir()
    store.chmod(0o500)
    with pytest.raises(StoreError, match="can't be written"):
        load_log(write_visits(tmp_path / "log"), Store(store), loaded_on=LOADED_ON)


def test_a_store_that_is_a_file_is_told(tmp_path):
    (tmp_path / "store").write_text("not a folder")
    with pytest.raises(StoreError, match="can't be written"):
        load_log(write_visits(tmp_path / "log"), Store(tmp_path / "store"), loaded_on=LOADED_ON)


def test_a_sqlite_log_in_use_is_told(tmp_path):
    log = tmp_path / "log.sqlite"
    with closing(sqlite3.connect(log)) as writer:
        writer.execute("create table visits (visit_id, equipment_id, reported_at)")
        writer.execute("insert into visits values ('V1', 'U1', '2024-06-01')")
        writer.commit()
        writer.execute("begin exclusive")
        with pytest.raises(SourceError, match="in use"):
            load_log(log, Store(tmp_path / "store"), loaded_on=LOADED_ON)
        writer.rollback()
    assert load_log(log, Store(tmp_path / "store"), loaded_on=LOADED_ON).total("clean") == 1


def test_a_sqlite_log_that_is_still_written_to_is_loaded_as_it_stands_and_rebuilt_so(tmp_path):
    from fleet.ingest.load import rebuild

    log = tmp_path / "log.sqlite"
    with closing(sqlite3.connect(log)) as writer:
        writer.execute("pragma journal_mode = wal")
        writer.execute("create table visits (visit_id, equipment_id, reported_at)")
        writer.execute("insert into visits values ('V1', 'U1', '2024-06-01'), ('V2', 'U1', '2024-06-02')")
        writer.commit()
        store = Store(tmp_path / "store")
        assert load_log(log, store, loaded_on=LOADED_ON).total("clean") == 2
    assert rebuild(store).total("clean") == 2


def test_a_source_that_changes_while_it_is_loaded_is_refused(tmp_path, monkeypatch):
    from fleet.ingest import load

    log = write_visits(tmp_path / "log")
    build = load._build

    def grows(*args, **options):
        made = build(*args, **options)
        with (log / "visits.csv").open("a") as stream:
            stream.write("V9,U1,2024-06-01,late\n")
        return made

    monkeypatch.setattr(load, "_build", grows)
    with pytest.raises(SourceError, match=r"visits\.csv changed while it was being loaded"):
        load_log(log, Store(tmp_path / "store"), loaded_on=LOADED_ON)
    with pytest.raises(StoreError, match="nothing is loaded"):
        Store(tmp_path / "store").open()
