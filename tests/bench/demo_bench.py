"""How long the demo's main answers take, start-up included, beside the bare start-up of the libraries under them.

One command, from the top of the repository::

    python tests/bench/demo_bench.py

It loads ``data_demo`` once (timed on its own line), then times, each in a fresh process and by turns: the baseline,
``python -c "import duckdb, pandas, scipy.stats"``, and one process that builds the histories and answers rates,
demand and stock. Goal: under 3 seconds for the four answers, on a machine that does nothing else.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

DEMO = Path(__file__).parents[2] / "data_demo"
GOAL_SECONDS = 3.0

BASELINE = "import duckdb, pandas, scipy.stats"

ANSWERS = """
import json, sys, time
clock = [time.perf_counter()]
steps = {}
def step(name):
    clock.append(time.perf_counter())
    steps[name] = clock[-1] - clock[-2]
from pathlib import Path
from fleet.histories.build import build_histories
from fleet.store.snapshots import Store
from fleet.analysis.rates import estimate_rates
from fleet.planning.demand import forecast_demand
from fleet.planning.stock import plan_stock
step("imports")
histories = build_histories(Store(Path(sys.argv[1])))
step("histories")
rates = estimate_rates(histories)
step("rates")
demand = forecast_demand(histories)
step("demand")
stock = plan_stock(histories, demand)
step("stock")
print(json.dumps(steps))
"""

LOAD = """
import datetime as dt, sys
from pathlib import Path
from fleet.ingest.load import load_log
from fleet.store.snapshots import Store
load_log(Path(sys.argv[1]), Store(Path(sys.argv[2])), loaded_on=dt.date(2026, 3, 1))
"""


def run(code: str, *arguments: str) -> tuple[float, float, str]:
    """Run a program in a fresh process; return seconds, CPU seconds and what it printed."""
    before, started = os.times(), time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code, *arguments], check=True, capture_output=True, text=True)
    seconds, after = time.perf_counter() - started, os.times()
    cpu = after.children_user + after.children_system - before.children_user - before.children_system
    return seconds, cpu, done.stdout


def main() -> int:
    """Load once, time the rest by turns, print the medians; 1 where the goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--repeats", type=int, default=3, help="runs of each; the median counts")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        store = str(Path(folder) / "store")
        seconds, cpu, _ = run(LOAD, str(DEMO), store)
        print(f"loading the demo: {seconds:.2f} s, {cpu:.2f} s of CPU (goal 1.5)")
        baseline, answers, steps = [], [], {}
        for _ in range(given.repeats):
            baseline.append(run(BASELINE)[:2])
            *measured, printed = run(ANSWERS, store)
            answers.append(measured)
            for name, took in json.loads(printed).items():
                steps.setdefault(name, []).append(took)
    for name, took in steps.items():
        print(f"  {name}: {statistics.median(took):.2f} s")
    base, base_cpu = (statistics.median(column) for column in zip(*baseline, strict=True))
    full, full_cpu = (statistics.median(column) for column in zip(*answers, strict=True))
    print(f"baseline ({BASELINE}): {base:.2f} s, {base_cpu:.2f} s of CPU")
    print(f"histories, rates, demand and stock: {full:.2f} s, {full_cpu:.2f} s of CPU (goal {GOAL_SECONDS:.0f} s)")
    print(f"ratio: {full / base:.2f}; machine: {os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f}")
    return 0 if full <= GOAL_SECONDS else 1


if __name__ == "__main__":
    sys.exit(main())
