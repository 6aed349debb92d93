"""How long a scan for clusters takes beside a plain one that looks at every window.

One command, from the top of the repository::

    python tests/bench/scan_bench.py

It draws a fleet (seeded: 200 buildings, 300 weeks, 12,000 failures of one component, a summer in every year) and times,
each in a process of its own and by turns, the largest likelihood ratio of 999 fleets without a cluster: by running sums
over every window of every building (``plain``, the baseline, on fewer fleets and counted up), and by this project's
scan, which looks only at windows that begin and end on a failure (``scan``).
Goal: under 10 s on 2 cores; the ratio decides.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from processes import measured, peak_memory_mb

from fleet.analysis.scan import drawn_maxima, log_likelihood_ratio, running_shares

BUILDINGS, WEEKS, FAILURES, MAX_WEEKS, REPLICATES = 200, 300, 12_000, 13, 999
PLAIN_REPLICATES = 27


def fleet() -> tuple[np.ndarray, np.ndarray]:
    """Return the building of each failure and the running shares of the weeks."""
    rng = np.random.default_rng(11)
    season = 1.0 + 0.8 * np.cos(np.arange(WEEKS) / 52.18 * 2 * np.pi)
    return np.sort(rng.integers(0, BUILDINGS, FAILURES)), running_shares(np.tile(season, (BUILDINGS, 1)))


def plain(building: np.ndarray, running: np.ndarray, replicates: int) -> np.ndarray:
    """Look at every window of up to MAX_WEEKS weeks of every building, fleet by fleet."""
    rng = np.random.default_rng(12)
    sizes = np.bincount(building, minlength=BUILDINGS)
    best = np.zeros(replicates)
    for i in range(replicates):
        counts = np.stack([rng.multinomial(n, np.diff(share)) for n, share in zip(sizes, running, strict=True)])
        summed = np.concatenate([np.zeros((BUILDINGS, 1)), np.cumsum(counts, axis=1)], axis=1)
        for length in range(1, MAX_WEEKS + 1):
            seen = summed[:, length:] - summed[:, :-length]
            expected = sizes[:, None] * (running[:, length:] - running[:, :-length])
            best[i] = max(best[i], log_likelihood_ratio(seen, np.maximum(expected, 0.1), FAILURES).max())
    return best


def run_role(role: str) -> dict[str, float]:
    """Run one role here; return its seconds for all replicates."""
    building, running = fleet()
    started = time.perf_counter()
    if role == "plain":
        found = plain(building, running, PLAIN_REPLICATES)
        seconds = (time.perf_counter() - started) * REPLICATES / PLAIN_REPLICATES
    else:
        found = drawn_maxima(
            building, running, max_weeks=MAX_WEEKS, rng=np.random.default_rng(12), replicates=REPLICATES
        )
        seconds = time.perf_counter() - started
    return {"seconds": seconds, "typical": float(np.median(found)), "memory_mb": peak_memory_mb()}


def main() -> int:
    """Compare; 1 where the goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--repeats", type=int, default=3, help="runs of each; the best counts")
    parser.add_argument("--role", choices=("plain", "scan"), help=argparse.SUPPRESS)
    parser.add_argument("--log", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--scratch", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.role:
        print(json.dumps(run_role(given.role)))
        return 0
    runs: dict[str, list[dict[str, float]]] = {"plain": [], "scan": []}
    with tempfile.TemporaryDirectory() as folder:
        for role in [*runs] * given.repeats:
            found = measured(__file__, role, Path(folder) / "none")
            runs[role].append(found)
            print(
                f"{role}: {found['seconds']:.1f} s for {REPLICATES} fleets, typical largest ratio "
                f"{found['typical']:.2f}, {found['memory_mb']:.0f} MB"
            )
    best = {role: min(run["seconds"] for run in some) for role, some in runs.items()}
    print(f"machine: {os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f}")
    print(f"ratio of the best runs, scan to plain: {best['scan'] / best['plain']:.2f}; {best['scan']:.1f} s (goal 10)")
    return 0 if best["scan"] <= best["plain"] and best["scan"] <= 10 else 1


if __name__ == "__main__":
    sys.exit(main())
