"""How long a SQLite table takes to read beside the bare driver, and a load of one beside a typed reading.

One command, from the top of the repository::

    python tests/bench/sqlite_bench.py --rows 1000000

It makes a log in one SQLite file (seeded: visits with 20 columns of mixed types, and the equipment behind them), then
times, each in a process of its own and by turns: the Arrow driver into DuckDB's ``create table as``, all text
(``text``, the baseline of reading); this project's raw table into the same (``raw``); the driver into ``create table
as`` with the log's types (``typed``, the baseline of loading); this project's load (``load``). The compressed copy of
the source is part of a load but of no baseline: it has its own line and stays outside the ratio.
Goal: each ratio at most 2, memory at most 2 GB.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import sqlite3
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

import duckdb
import load_bench
from adbc_driver_sqlite import StatementOptions, dbapi
from processes import measured, peak_memory_mb

from fleet.ingest import load
from fleet.ingest.raw import open_tables
from fleet.store.database import Database
from fleet.store.schema import TABLES
from fleet.store.snapshots import Store

WHOLE = ("labor_minutes", "refrigerant_added_oz", "indoor_f", "herm_uf", "fan_uf")
REAL = ("labor_cost", "refrigerant_cost", "other_cost")
PAIRS = {"raw": "text", "load": "typed"}
"""What is compared with what."""


def make_log(folder: Path, rows: int) -> Path:
    """Write log.sqlite: the rows of load_bench.py, numbers as numbers."""
    load_bench.make_log(folder, rows)
    file = folder / "log.sqlite"
    with closing(sqlite3.connect(file)) as target, duckdb.connect() as source:
        for name in ("visits", "equipment"):
            rows_of = source.execute(f"select * from read_csv('{folder / name}.csv', all_varchar = true)")
            kind_of = {**dict.fromkeys(WHOLE, "integer"), **dict.fromkeys(REAL, "real")}
            columns = [(column, kind_of.get(column, "text")) for column, *_ in rows_of.description]
            target.execute(f"create table {name} ({', '.join(f'{column} {kind}' for column, kind in columns)})")
            insert = f"insert into {name} values ({', '.join('?' for _ in columns)})"
            while batch := rows_of.fetchmany(50_000):
                target.executemany(insert, batch)
        target.commit()
    for name in ("visits", "equipment"):
        (folder / f"{name}.csv").unlink()
    return file


def bare(log: Path, scratch: Path, *, typed: bool) -> None:
    """Read every table with the bare driver: all text, or with the types of the log's columns."""
    config = {"memory_limit": load_bench.MEMORY_LIMIT, "temp_directory": str(scratch / "spill")}
    address = f"{log.as_uri()}?mode=ro"
    with duckdb.connect(str(scratch / "bare.duckdb"), config=config) as engine, dbapi.connect(address) as source:
        for name in ("visits", "equipment"):
            known = {column.name: column.sql_type for column in TABLES[name].columns}
            with source.cursor() as cursor:
                cursor.execute(f"select * from {name} limit 0")
                columns = [column[0] for column in cursor.description]
                cursor.adbc_statement.set_options(**{StatementOptions.BATCH_ROWS.value: "65536"})
                cursor.execute(f"select {', '.join(f'cast({c} as text) as {c}' for c in columns)} from {name}")
                engine.register("stream", cursor.fetch_record_batch())
                chosen = ", ".join(f"{c}::{known[c]} as {c}" if typed and c in known else c for c in columns)
                engine.execute(f"create table {name} as select {chosen} from stream")
                engine.unregister("stream")
        engine.execute("checkpoint")


def run_raw(log: Path, scratch: Path) -> None:
    """Read every table as the load does, into tables of text."""
    database = Database.build(scratch / "raw.duckdb", spill=scratch / "spill")
    for raw in open_tables(log.name, log, scratch=scratch):
        columns = ", ".join(f"c{i} as {header}" for i, header in enumerate(raw.headers))
        statement = f"create table log.{raw.member} as select {columns} from "
        if raw.run(database, lambda relation, statement=statement: statement + relation) != raw.n_records:
            msg = f"{raw.name}: rows are missing"
            raise SystemExit(msg)
    database.finish()


def run_load(log: Path, scratch: Path) -> float:
    """Load the file as a user would; return the seconds its compressed copy took."""
    copied = 0.0
    keep = load.keep_source

    def timed(*arguments: object) -> None:
        nonlocal copied
        started = time.perf_counter()
        keep(*arguments)
        copied += time.perf_counter() - started

    load.keep_source = timed
    report = load.load_log(log, Store(scratch / "store"), loaded_on=dt.date(2030, 1, 1))
    clean, records = report.total("clean"), report.total("records")
    if clean != records:
        msg = f"{records - clean} of {records} records are not clean"
        raise SystemExit(msg)
    return copied


def run_role(role: str, log: Path, scratch: Path) -> dict[str, float]:
    """Run one role here and return what it took."""
    started, started_cpu = time.perf_counter(), time.process_time()
    copied = 0.0
    if role == "raw":
        run_raw(log, scratch)
    elif role == "load":
        copied = run_load(log, scratch)
    else:
        bare(log, scratch, typed=role == "typed")
    return {
        "seconds": time.perf_counter() - started - copied,
        "copy": copied,
        "cpu": time.process_time() - started_cpu,
        "memory_mb": peak_memory_mb(),
    }


def compare(log: Path, repeats: int) -> int:
    """Time all by turns, print every run and the ratios of the best ones; 1 where a goal is missed."""
    runs: dict[str, list[dict[str, float]]] = {role: [] for pair in PAIRS.items() for role in reversed(pair)}
    for _ in range(repeats):
        for role in runs:
            found = measured(__file__, role, log)
            runs[role].append(found)
            copy = f", and {found['copy']:.1f} s for the compressed copy" if found["copy"] else ""
            print(f"{role}: {found['seconds']:.1f} s, {found['cpu']:.1f} s of CPU, {found['memory_mb']:.0f} MB{copy}")
    best = {role: min(found["seconds"] for found in some) for role, some in runs.items()}
    ratios = {role: best[role] / best[base] for role, base in PAIRS.items()}
    memory = max(found["memory_mb"] for role in PAIRS for found in runs[role])
    print(f"machine: {os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f}")
    for role, base in PAIRS.items():
        print(f"ratio of the best runs, {role} to {base}: {ratios[role]:.2f} (goal 2)")
    print(f"memory at most: {memory:.0f} MB (goal 2000)")
    return 0 if max(ratios.values()) <= 2 and memory <= 2000 else 1


def main() -> int:
    """Make the log, compare, clean up."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=int, default=1_000_000, help="visits in the log")
    parser.add_argument("--repeats", type=int, default=1, help="runs of each; the best counts")
    parser.add_argument("--role", choices=("text", "raw", "typed", "load"), help=argparse.SUPPRESS)
    parser.add_argument("--log", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--scratch", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.role:
        print(json.dumps(run_role(given.role, given.log, given.scratch)))
        return 0
    with tempfile.TemporaryDirectory() as folder:
        log = make_log(Path(folder) / "log", given.rows)
        print(f"{given.rows:,} visits of {max(given.rows // 10, 1):,} units, {log.stat().st_size / 1e6:.0f} MB")
        return compare(log, given.repeats)


if __name__ == "__main__":
    sys.exit(main())
