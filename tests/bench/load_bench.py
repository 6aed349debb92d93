"""How long a load takes beside DuckDB's own typed reading of the same files, and how much memory.

One command, from the top of the repository::

    python tests/bench/load_bench.py --rows 5000000

It makes a log (seeded: visits with 19 columns and one nobody understands, notes with commas, quotes and line feeds,
and the equipment behind them), then times, each in a process of its own and by turns, DuckDB's ``create table as``
with declared types to disk (the baseline) and this project's load. The compressed copy of the sources is part of a
load but of no baseline: it has its own line and stays outside the ratio. Goal: ratio at most 2, memory at most 2 GB.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import sys
import tempfile
import time
from pathlib import Path

import duckdb
from processes import measured, peak_memory_mb

from fleet.ingest import load
from fleet.store.schema import TABLES, Table
from fleet.store.snapshots import Store

MEMORY_LIMIT = "1500MB"

VISITS = """
copy (
    select 'V' || lpad(i::varchar, 8, '0') as visit_id,
        'U' || lpad((hash(i, 1) % $units)::varchar, 6, '0') as equipment_id,
        strftime(reported, '%Y-%m-%d %H:%M') as reported_at,
        strftime(reported + to_minutes((hash(i, 3) % 600)::int), '%Y-%m-%d %H:%M') as arrived_at,
        strftime(reported + to_minutes((600 + hash(i, 4) % 90)::int), '%Y-%m-%d %H:%M') as finished_at,
        strftime(reported + to_minutes((700 + hash(i, 5) % 9000)::int), '%Y-%m-%d %H:%M') as recorded_at,
        (['no cooling', 'poor cooling', 'breaker trip', 'preventive maintenance', 'turnover'])
            [1 + (hash(i, 6) % 5)::int] as call_type,
        (['yes', 'no', null])[1 + (hash(i, 7) % 3)::int] as after_hours,
        'tech ' || (hash(i, 8) % 400) as technician,
        case when hash(i, 9) % 20 = 0 then 'firm ' || (hash(i, 10) % 50) end as vendor,
        (['run capacitor', 'contactor', 'fan motor', 'hard start', 'compressor', 'no fault found', 'dirty coil'])
            [1 + (hash(i, 11) % 7)::int] as finding,
        (['cooling restored', 'temporary', 'waiting for part'])[1 + (hash(i, 12) % 3)::int] as outcome,
        (15 + hash(i, 13) % 120)::int as labor_minutes,
        ((15 + hash(i, 13) % 120) * 0.75)::decimal(9, 2) as labor_cost,
        case when hash(i, 14) % 10 = 0 then ((hash(i, 15) % 9000) / 100)::decimal(9, 2) end as refrigerant_cost,
        case when hash(i, 16) % 10 = 0 then ((hash(i, 17) % 9000) / 100)::decimal(9, 2) end as other_cost,
        case when hash(i, 14) % 10 = 0 then (hash(i, 18) % 32)::int end as refrigerant_added_oz,
        (70 + hash(i, 19) % 25)::int as indoor_f,
        (['fan hums, won''t start; "again"', 'line one' || chr(10) || 'line two', 'ok', 'replaced cap, tested 44.8'])
            [1 + (hash(i, 20) % 4)::int] as notes,
        'x' || (hash(i, 21) % 1000) as extra
    from (select i, timestamp '2015-01-01' + to_minutes((hash(i, 2) % 5000000)::int) as reported
        from range($rows) as r(i))
) to '{file}' (header, delimiter ',')
"""

EQUIPMENT = """
copy (
    select 'U' || lpad(i::varchar, 6, '0') as equipment_id,
        'P' || (i // 1000) as property, 'B' || (i // 20) as building,
        'F' || (hash(i, 1) % 80) as model_family, (['scroll', 'rotary'])[1 + (hash(i, 2) % 2)::int] as compressor_type,
        (date '2000-01-01' + (hash(i, 3) % 5000)::int)::varchar as installed_on,
        35 + 5 * (hash(i, 4) % 3)::int as herm_uf, 5 as fan_uf
    from range($units) as r(i)
) to '{file}' (header, delimiter ',')
"""


def make_log(folder: Path, rows: int) -> None:
    """Write visits.csv and equipment.csv; the same rows on every machine."""
    folder.mkdir(parents=True, exist_ok=True)
    with duckdb.connect() as connection:
        units = max(rows // 10, 1)
        for name, sql, settings in (
            ("visits", VISITS, {"rows": rows, "units": units}),
            ("equipment", EQUIPMENT, {"units": units}),
        ):
            for setting, value in settings.items():
                sql = sql.replace(f"${setting}", str(value))
            connection.execute(sql.replace("{file}", str(folder / f"{name}.csv")))


def columns_of(file: Path, table: Table) -> str:
    """Return the declared columns of a file for DuckDB's reader; what the contract doesn't know is text."""
    known = {column.name: column.sql_type for column in table.columns}
    with file.open(encoding="utf-8") as stream:
        names = stream.readline().strip().split(",")
    return "{" + ", ".join(f"'{name}': '{known.get(name, 'varchar')}'" for name in names) + "}"


def run_baseline(log: Path, scratch: Path) -> dict[str, float]:
    """Read the files with declared types straight into a DuckDB file."""
    started = time.perf_counter()
    config = {"memory_limit": MEMORY_LIMIT, "temp_directory": str(scratch / "spill")}
    with duckdb.connect(str(scratch / "baseline.duckdb"), config=config) as connection:
        for name in ("visits", "equipment"):
            file = log / f"{name}.csv"
            connection.execute(
                f"create table {name} as select * from read_csv('{file}', columns = {columns_of(file, TABLES[name])}, "
                "auto_detect = false, header = true, delim = ',', quote = '\"', escape = '\"')"
            )
        connection.execute("checkpoint")
    return {"seconds": time.perf_counter() - started, "cpu": time.process_time()}


def run_load(log: Path, scratch: Path) -> dict[str, float]:
    """Load the folder as a user would, the compressed copy of the sources timed apart."""
    copied, copied_cpu = 0.0, 0.0
    keep = load.keep_source

    def timed(*arguments: object) -> None:
        nonlocal copied, copied_cpu
        started, started_cpu = time.perf_counter(), time.process_time()
        keep(*arguments)
        copied += time.perf_counter() - started
        copied_cpu += time.process_time() - started_cpu

    load.keep_source = timed
    started = time.perf_counter()
    report = load.load_log(log, Store(scratch / "store"), loaded_on=dt.date(2030, 1, 1))
    seconds = time.perf_counter() - started
    clean, records = report.total("clean"), report.total("records")
    if clean != records:
        msg = f"{records - clean} of {records} records are not clean"
        raise SystemExit(msg)
    return {"seconds": seconds - copied, "copy": copied, "cpu": time.process_time() - copied_cpu}


def compare(log: Path, repeats: int) -> int:
    """Time both by turns, print every run and the ratio of the medians; 1 where the goal is missed."""
    runs: dict[str, list[dict[str, float]]] = {"baseline": [], "load": []}
    for _ in range(repeats):
        for role in runs:
            found = measured(__file__, role, log)
            runs[role].append(found)
            copy = f", and {found['copy']:.1f} s for the compressed copy" if "copy" in found else ""
            print(f"{role}: {found['seconds']:.1f} s, {found['cpu']:.1f} s of CPU, {found['memory_mb']:.0f} MB{copy}")
    best = {role: min(found["seconds"] for found in some) for role, some in runs.items()}
    cpu = {role: min(found["cpu"] for found in some) for role, some in runs.items()}
    memory = max(found["memory_mb"] for found in runs["load"])
    ratio = best["load"] / best["baseline"]
    print(f"machine: {os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f}")
    print(f"ratio of the best runs: {ratio:.2f} in time (goal 2), {cpu['load'] / cpu['baseline']:.2f} in CPU")
    print(f"memory at most: {memory:.0f} MB (goal 2000)")
    return 0 if ratio <= 2 and memory <= 2000 else 1


def main() -> int:
    """Make the log, compare, clean up."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=int, default=5_000_000, help="visits in the log")
    parser.add_argument("--repeats", type=int, default=1, help="runs of each; the best counts")
    parser.add_argument("--role", choices=("baseline", "load"), help=argparse.SUPPRESS)
    parser.add_argument("--log", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--scratch", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.role:
        found = (run_baseline if given.role == "baseline" else run_load)(given.log, given.scratch)
        # kilobytes on Linux
        found["memory_mb"] = peak_memory_mb()
        print(json.dumps(found))
        return 0
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "log"
        make_log(log, given.rows)
        size = sum(file.stat().st_size for file in log.iterdir()) / 1e6
        print(f"{given.rows:,} visits of {max(given.rows // 10, 1):,} units, {size:.0f} MB")
        return compare(log, given.repeats)


if __name__ == "__main__":
    sys.exit(main())
