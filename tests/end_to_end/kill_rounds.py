"""Load a log again and again, each time killed at another moment; print what the store held after each.

Run as a script: ``python kill_rounds.py STORE ROUNDS``. The libraries are imported once; every load runs in a forked
child, so that a round costs the load alone.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from fleet.errors import FleetError
from fleet.ingest.load import load_log
from fleet.ingest.report import read_report
from fleet.store.snapshots import Store

LOADED_ON = dt.date(2025, 1, 1)
N_VISITS = 150


def write_log(folder: Path, number: int) -> Path:
    """Write log ``number``: visits of its own, and one visit that every log corrects."""
    folder.mkdir()
    lines = ["visit_id,equipment_id,reported_at,labor_cost,notes", f"V0,U1,2024-06-01,{number},corrected by {number}"]
    lines += [f"V{number}-{i},U{i % 7},2024-06-{i % 28 + 1:02},{i % 90}.50,fine" for i in range(N_VISITS)]
    (folder / "visits.csv").write_text("\n".join(lines) + "\n")
    return folder


def load(log: Path, store: Path) -> float:
    """Load in this process; return how long it took."""
    begun = time.monotonic()
    load_log(log, Store(store), loaded_on=LOADED_ON)
    return time.monotonic() - begun


def load_and_be_killed(log: Path, store: Path, after: float) -> bool:
    """Load in a child that is killed after so many seconds; return whether it was killed before it was done."""
    child = os.fork()
    if child == 0:
        load(log, store)
        os._exit(0)
    time.sleep(after)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status)


def state(store: Path) -> dict[str, object]:
    """Return what a reader sees: how many visits, the corrected one's money, whether the account adds up."""
    with Store(store).open() as database:
        n, money = database.rows(
            "select count(*), any_value(labor_cost) filter (visit_id = 'V0')::int from log.clean.visit"
        )[0]
        report = read_report(database, data_version="", loaded=False)
    return {"visits": n, "money": money, "balanced": all(a.balanced for a in report.accounts)}


def main() -> None:
    """Run the rounds; one line of JSON each."""
    folder, rounds = Path(sys.argv[1]), int(sys.argv[2])
    chance = random.Random(20240601)
    store, taken = folder / "store", 0.0
    for number in range(rounds + 1):
        log = write_log(folder / f"log{number}", number)
        if number == 0:
            taken = load(log, store)
            continue
        # spread over the whole load, its last moments looked at twice as often
        share = chance.random() if number % 3 else 0.6 + 0.35 * chance.random()
        killed = load_and_be_killed(log, store, share * taken)
        seen = state(store)
        print(json.dumps({"round": number, "killed": killed, **seen}), flush=True)
        try:
            taken = max(0.7 * taken, load(log, store)) if number % 10 == 0 else taken
        except FleetError as error:
            print(json.dumps({"round": number, "error": str(error)}), flush=True)


if __name__ == "__main__":
    main()
