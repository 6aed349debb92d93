"""How long do the answers about lives take in a large fleet, and the truncated fit beside a general library's?

One command, from the top of the repository::

    python tests/bench/life_bench.py --units 100000

It draws (seeded) the lives of five components in so many units, as the histories give them: ages in days, half of the
lives begun before the log, the units' families and types beside them. Then it times fits and intervals of every group:
each component together, by compressor type and by model family, of all three laws. Goal: 10 s for 100,000 units, 60 s
for a million, on two cores. Then, with ``--against`` more than nought, it makes an environment of its own in a
temporary folder, installs the general library lifelines there (the bench alone needs it), and times both fits of a
Weibull to the same left-truncated, right-censored lives, each in its own process. Goal: at least five times as fast.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import subprocess
import sys
import tempfile
import time
import venv
from pathlib import Path

import numpy as np
import pandas as pd

COMPONENTS = {"run capacitor": 9.0, "contactor": 12.0, "fan motor": 13.0, "control board": 16.0, "compressor": 17.0}
GROUPINGS: tuple[tuple[str, ...], ...] = ((), ("compressor_type",), ("model_family",))
LIBRARY = "lifelines==0.30.0"

FOREIGN = """
import json, sys, time
import numpy as np
from lifelines import WeibullFitter
entry, leave, failed = np.load(sys.argv[1])
best = np.inf
for _ in range(int(sys.argv[2])):
    began = time.perf_counter()
    fit = WeibullFitter().fit(leave, failed, entry=entry)
    best = min(best, time.perf_counter() - began)
print(json.dumps({"seconds": best, "scale": fit.lambda_, "shape": fit.rho_}))
"""


def draw_lives(rng: np.random.Generator, units: int) -> pd.DataFrame:
    """Return every component's lives in a fleet, in days, with each unit's family and type."""
    from tests.studies import life_study

    family, kind = rng.choice(list("ABC"), units, p=(0.45, 0.35, 0.20)), rng.choice(["scroll", "rotary"], units)
    frames = []
    for name, scale in COMPONENTS.items():
        life_study.SCALE = scale
        frame = life_study.simulate_fleet(rng, units, hidden=0.1)
        for column in ("watched", "at_most"):
            frame[column] = np.ceil(frame[column] * 365.25) / 365.25
        who = frame["unit_id"].to_numpy()
        frames.append(
            frame.assign(component=name, by_model_family=family[who], by_compressor_type=kind[who], entry_age=0.0)
        )
    return pd.concat(frames, ignore_index=True)


def time_groups(units: int) -> dict[str, float]:
    """Time fits and intervals of every group of a fleet."""
    from fleet.analysis.life_groups import LifeQuestion, estimate_groups

    lives = draw_lives(np.random.default_rng(1), units)
    began, began_cpu, groups = time.perf_counter(), time.process_time(), 0
    for name, rows in lives.groupby("component", sort=False):
        for by in GROUPINGS:
            for one in estimate_groups(rows, str(name), LifeQuestion(by=by)):
                if one.estimate.average is None:
                    msg = f"{name} {one.key} gave no law"
                    raise SystemExit(msg)
                one.estimate.average.interval(0.1)
                groups += 1
    return {
        "lives": len(lives),
        "groups": groups,
        "seconds": time.perf_counter() - began,
        "cpu": time.process_time() - began_cpu,
    }


def draw_truncated(count: int) -> np.ndarray:
    """Return entry ages, leaving ages and whether each life failed, days; all followed for at most six years."""
    rng = np.random.default_rng(2)
    entry, life = rng.uniform(0.0, 12.0, 3 * count), 9.0 * rng.weibull(2.2, 3 * count)
    seen = np.flatnonzero(life > entry)[:count]
    entry, life = np.floor(entry[seen] * 365.25), np.ceil(life[seen] * 365.25) + 1.0
    return np.array([entry, np.minimum(life, entry + 2192.0), life <= entry + 2192.0], dtype=np.float64)


def time_own_fit(file: Path, repeats: int) -> dict[str, float]:
    """Time this project's Weibull fit, collapsing the lives included; the best of several."""
    from fleet.analysis.life_fit import KnownLives, fit_law, starting_point
    from fleet.analysis.life_laws import WEIBULL
    from fleet.analysis.life_sample import life_sample

    entry, leave, failed = np.load(file)
    best = math.inf
    for _ in range(repeats):
        began = time.perf_counter()
        sample = life_sample(entry, leave, np.where(failed > 0, leave, np.inf))
        fit = fit_law(WEIBULL, KnownLives.of(sample), starting_point(WEIBULL, sample.failures, sample.years))
        best = min(best, time.perf_counter() - began)
    return {"seconds": best, "scale": fit.scale, "shape": fit.shape}


def time_library(file: Path, folder: Path, repeats: int) -> dict[str, float]:
    """Install the library in an environment of its own and time its fit to the same lives."""
    venv.create(folder / "env", with_pip=True)
    python = folder / "env" / "bin" / "python"
    subprocess.run([python, "-m", "pip", "install", "-qq", LIBRARY], check=True, capture_output=True)
    done = subprocess.run([python, "-c", FOREIGN, file, str(repeats)], check=True, capture_output=True, text=True)
    return dict(json.loads(done.stdout.splitlines()[-1]))


def compare_fits(count: int, repeats: int) -> bool:
    """Time both fits in the same run and print the ratio; whether the goal is met."""
    with tempfile.TemporaryDirectory() as scratch:
        file = Path(scratch) / "lives.npy"
        np.save(file, draw_truncated(count))
        own, other = time_own_fit(file, repeats), time_library(file, Path(scratch), repeats)
    for name, found in (("own", own), (LIBRARY, other)):
        print(f"{name}: {found['seconds']:.3f} s; scale {found['scale']:.4f} days, shape {found['shape']:.5f}")
    ratio = other["seconds"] / own["seconds"]
    apart = max(abs(math.log(own[key] / other[key])) for key in ("scale", "shape"))
    print(f"truncated Weibull fit of {count:,} lives: {ratio:.1f} times as fast (goal 5); apart by {apart:.1e}")
    return ratio >= 5 and apart < 1e-3


def main() -> int:
    """Time the groups, then the one fit beside the library's; 1 where a goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=100_000, help="units in the fleet")
    parser.add_argument("--against", type=int, default=100_000, help="lives for the fit beside the library; 0 = none")
    parser.add_argument("--repeats", type=int, default=3, help="runs of each fit; the best counts")
    given = parser.parse_args()
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    found = time_groups(given.units)
    goal = 10.0 if given.units <= 100_000 else 60.0
    print(f"machine: {os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f}")
    print(
        f"{given.units:,} units, {found['lives']:,} lives, {found['groups']} groups: {found['seconds']:.1f} s, "
        f"{found['cpu']:.1f} s of CPU (goal {goal:g} s)"
    )
    met = found["seconds"] <= goal
    if given.against:
        met &= compare_fits(given.against, given.repeats)
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
