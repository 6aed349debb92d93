"""How long do parts last, by component, type and family, in whole logs with a known truth: how far off, how sure?

Run ``python -m tests.studies.groups_study --replicates 10`` from the repository's top; about ten minutes for each ten.
Each replicate writes the log of one fleet of 600 units as CSV files (`tests.studies.life_world`), loads it, and asks
the answer ``life`` for every component together, by compressor type, by model family, and by both. Families' scales
differ by a factor (log standard deviation 0.30), types' by another (0.15); a tenth of the units are of unknown age; a
log of six years; parts changed as prevention or while weak; units retired. By one component or one column parts of
unlike kinds are mixed: the truth there is that of a part in a unit taken at random. Further lines: fleets of 80 units
whose log was kept for two years, where an answer must be wide, not missing.
The naive column: the same B10 had parts that failed in the log been taken alone (completed lives).
"""

from __future__ import annotations

import math
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from fleet.analysis.life import estimate_life
from fleet.analysis.life_data import read_lives
from fleet.analysis.life_priors import FEWEST_WITHOUT_PRIOR
from tests.studies.life_world import PARTS, read_world, simulate_log
from tests.studies.reporting import Line, print_study

GROUPINGS = {
    "by component": (),
    "by component and type": ("compressor_type",),
    "by component and family": ("model_family",),
    "by component, type and family": ("compressor_type", "model_family"),
}
SHARES = {"B10": ("b10", 0.1, 0.16), "median": ("median", 0.5, 0.14)}
"""Column, share failed, and the root-mean-square log error it may have."""


@dataclass
class Found:
    """What one question gave over all fleets: an entry a cell (component and group)."""

    errors: list = field(default_factory=list)
    held: list = field(default_factory=list)
    naive: list = field(default_factory=list)
    widths: list = field(default_factory=list)
    fleets: list = field(default_factory=list)
    cells: int = 0
    bare: int = 0
    bounded: int = 0
    scarce: int = 0
    told: int = 0


def completed(frame, row, by, share):
    """Return the quantile of the lives that ended in a failure within the log, alone."""
    lives = frame[(frame["component"] == row["component"]) & (frame["ended"] == "failed") & (frame["birth"] == "known")]
    for name in by:
        lives = lives[lives[f"by_{name}"] == row[name]]
    return float(lives["watched"].quantile(share)) if len(lives) else math.nan


def judge_fleet(rng, found, groupings, nth=0, **world):
    """Simulate, load and estimate one fleet; put down every cell's error, and whether its interval held the truth."""
    with tempfile.TemporaryDirectory() as folder:
        truth = simulate_log(rng, Path(folder), **world)
        histories = read_world(Path(folder))
        for title, by in groupings.items():
            table = estimate_life(histories, by=by).table
            frame = read_lives(histories, by)
            rows = table[(table["model"] == "average") & table["component"].isin(PARTS)]
            for row in rows.to_dict("records"):
                _judge_cell(found[title], row, truth, nth, {q: completed(frame, row, by, q) for q in (0.1, 0.5)})
        histories.close()


def _judge_cell(found, row, truth, nth, naive):
    for name, (column, share, _) in SHARES.items():
        cell = found.setdefault(name, Found())
        true = truth.quantile(row["component"], share, family=row.get("model_family"), kind=row.get("compressor_type"))
        low, high = row[f"{column}_low"], row[f"{column}_high"]
        high = math.inf if math.isnan(high) else high
        cell.cells += 1
        # removals as weak count as failures to come: with them there may be enough, and no prior to say aloud
        if row["failures"] + row["weak"] < FEWEST_WITHOUT_PRIOR and not math.isnan(row[column]):
            cell.scarce += 1
            cell.told += bool(row["prior"]) or "assumes" in row["note"]
        cell.bounded += not math.isnan(low)
        if not math.isnan(low):
            cell.held.append(low <= true <= high)
            cell.fleets.append(nth)
        if math.isnan(row[column]):
            cell.bare += 1
            continue
        cell.errors.append(math.log(row[column] / true))
        cell.widths.append(math.log(high / low))
        if naive[share] > 0:
            cell.naive.append(math.log(naive[share] / true))


def _rms(errors):
    return math.sqrt(float(np.mean(np.square(errors))))


def _clustered(held, fleets):
    """Return the share held and its error, cells of one fleet hanging together."""
    held, fleets = np.array(held, dtype=float), np.array(fleets)
    share = float(held.mean())
    sums = np.bincount(fleets, weights=held - share)
    return share, float(math.sqrt((sums**2).sum()) / held.size)


def report(title, found, *, asked=True):
    """Return the lines of one question; ``asked`` where the issue's targets hold."""
    lines = []
    for name, (_, _, target) in SHARES.items():
        cell = found[name]
        error = _rms(cell.errors) / math.sqrt(2 * len(cell.errors))
        naive = f"{_rms(cell.naive):.2f}" if cell.naive else ""
        goal = f"<= {target}" if asked else ""
        met = _rms(cell.errors) <= target + error
        item = f"{title}: RMS log error of {name} ({len(cell.errors)} cells)"
        lines.append(Line(item, _rms(cell.errors), error, goal, naive, met))
        share, error = _clustered(cell.held, cell.fleets)
        met = 0.82 - error <= share <= 0.95 + error
        goal = "0.82-0.95" if asked else ">= 0.82"
        item = f"{title}: 90 % interval holds {name}"
        lines.append(Line(item, share, error, goal, "", met if asked else share >= 0.82 - error))
    return lines


def report_small(rng, replicates):
    """Check fleets of 80 units and two years: an answer or its bound in every cell, wide, and honest."""
    found = {title: {} for title in list(GROUPINGS)[:3]}
    for nth in range(replicates):
        judge_fleet(rng, found, {t: GROUPINGS[t] for t in found}, nth, units=80, years=2.0)
    lines = []
    for title, cells in found.items():
        b10 = cells["B10"]
        lines += report(f"80 units, 2 years, {title}", cells, asked=False)
        share = b10.bounded / b10.cells
        item = f"80 units, 2 years, {title}: cells with an estimate or a bound ({b10.bare} bound only)"
        lines.append(Line(item, share, 0.0, "1", "", share == 1.0))
        told = b10.told / b10.scarce if b10.scarce else 1.0
        item = f"80 units, 2 years, {title}: of {b10.scarce} estimates under 20 ends, prior said aloud"
        lines.append(Line(item, told, 0.0, "1", "", told == 1.0))
    return lines


def run_study(replicates: int, seed: int = 20_261, *, units: int = 600, small: int | None = None) -> list[Line]:
    """Run the study: fleets of 600 units, then four times as many of 80 (or ``small``)."""
    rng = np.random.default_rng(seed)
    found = {title: {} for title in GROUPINGS}
    for nth in range(replicates):
        judge_fleet(rng, found, GROUPINGS, nth, units=units)
    lines = [line for title, cells in found.items() for line in report(title, cells)]
    return lines + report_small(rng, 4 * replicates if small is None else small)


if __name__ == "__main__":
    print_study(__doc__, run_study, seed=20_261)
