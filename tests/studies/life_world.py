"""A fleet whose part lives are known, as the log files its property would have kept.

Units of three families and two compressor types; each component's life is a Weibull whose scale is the component's own
times a factor for the family and one for the type. Parts fail, are changed as prevention or while weak, go with their
unit; a unit retired is followed by another under the same tag. The log sees only the last years of all this.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import optimize

from fleet.histories.build import Histories, build_histories
from fleet.ingest.load import load_log
from fleet.store.snapshots import Store

PARTS = {
    "run capacitor": (2.2, 9.0),
    "contactor": (1.8, 12.0),
    "fan motor": (2.5, 13.0),
    "control board": (1.0, 16.0),
    "compressor": (2.0, 17.0),
}
"""Shape and scale (years) of each component's Weibull in the first family and type."""

FAMILIES, TYPES = ("A", "B", "C"), ("scroll", "rotary")
BEGINS = np.datetime64("2019-01-01")
DAY = 1.0 / 365.25


@dataclass(frozen=True, kw_only=True)
class World:
    """What is true of one fleet.

    Attributes
    ----------
    factors : dict
        By component, an array (family, type): what the scale is multiplied with.
    years : float
        How long the log was kept.
    oldest : float
        Units are up to so many years old when it begins.
    kinds : ndarray of shape (families, types)
        Units of each kind.
    """

    factors: dict
    years: float
    oldest: float
    kinds: np.ndarray = field(repr=False)

    def quantile(self, component, share, *, family=None, kind=None):
        """Return the age by which ``share`` of a group's parts have failed, its units mixed as they stand in it."""
        shape, scale = PARTS[component]
        rows = [f for f, name in enumerate(FAMILIES) if family in (None, name)]
        columns = [t for t, name in enumerate(TYPES) if kind in (None, name)]
        weights = self.kinds[np.ix_(rows, columns)].ravel()
        scales = scale * self.factors[component][np.ix_(rows, columns)].ravel()

        def missing(log_age):
            failed = -np.expm1(-((math.exp(log_age) / scales) ** shape))
            return float(weights @ failed) / weights.sum() - share

        return math.exp(optimize.brentq(missing, -10.0, 10.0))


def simulate_log(rng, folder: Path, *, units=600, years=6.0, oldest=14.0, hidden=0.1, spread=(0.30, 0.15)) -> World:
    """Write one fleet's log as CSV files and return what is true of it.

    ``spread``: standard deviation of the log of the families' and the types' factors. ``hidden``: share of units
    whose installation day is left blank.
    """
    family = rng.choice(3, units, p=(0.45, 0.35, 0.20))
    kind = (rng.random(units) < np.array([0.3, 0.5, 0.7])[family]).astype(int)
    by_family = {name: np.exp(rng.normal(0.0, spread[0], 3)) for name in PARTS}
    factors = {name: f[:, None] * np.exp(rng.normal(0.0, spread[1], 2))[None, :] for name, f in by_family.items()}
    lines = _units(rng, units, years, oldest)
    lines["family"], lines["kind"] = family[lines["tag"]], kind[lines["tag"]]
    events = [_events(rng, lines, name, factors[name], years) for name in PARTS]
    _write(rng, folder, lines, pd.concat(events, ignore_index=True), years, hidden)
    kinds = np.zeros((3, 2))
    np.add.at(kinds, (family, kind), 1.0)
    return World(factors=factors, years=years, oldest=oldest, kinds=kinds)


def read_world(folder: Path) -> Histories:
    """Load a log that was written and build its histories."""
    store = Store(folder / "store")
    load_log(folder / "log", store, loaded_on=dt.date(2030, 1, 1))
    return build_histories(store)


def _units(rng, units, years, oldest):
    """Return every unit that was in service in the log's years: tag, installed and retired in years of its clock."""
    tag, start = np.arange(units), -rng.uniform(-0.1 * oldest, oldest, units)
    kept = []
    while tag.size:
        end = start + 19.0 * rng.weibull(5.0, tag.size)
        seen = end > 0
        kept.append(pd.DataFrame({"tag": tag, "start": start, "end": end})[seen & (start < years)])
        onward = end < years - 0.1
        tag, start = tag[onward], end[onward] + DAY
    return pd.concat(kept, ignore_index=True).sort_values(["tag", "start"], ignore_index=True)


def _events(rng, lines, name, factors, years):
    """Follow one component through every unit and return its changes of a part: unit, when, why."""
    shape, base = PARTS[name]
    scale = base * factors[lines["family"], lines["kind"]]
    at, born, until = np.arange(len(lines)), lines["start"].to_numpy(), lines["end"].to_numpy()
    phase, rows = rng.random(len(lines)), []
    while at.size:
        life = scale[at] * rng.weibull(shape, at.size)
        dies, why = born + life, np.full(at.size, "failed", dtype=object)
        early = born + rng.exponential(1.0 / 0.02, at.size)
        why[early < dies], dies = "preventive", np.minimum(dies, early)
        if name in ("run capacitor", "contactor"):
            # a yearly round takes out a part that would fail within a year, where it is spotted
            round_at = np.ceil(born + life - 1.0 - phase[at]) + phase[at]
            weak = (round_at > born) & (round_at < dies) & (rng.random(at.size) < 0.4)
            dies, why = np.where(weak, round_at, dies), np.where(weak, "weak", why)
        stays = dies < np.minimum(until[at], years)
        rows.append(pd.DataFrame({"line": at[stays], "when": dies[stays], "why": why[stays], "component": name}))
        at, born = at[stays], dies[stays]
    return pd.concat(rows, ignore_index=True)


def _day(when):
    return (BEGINS + np.floor(np.asarray(when) * 365.25).astype("timedelta64[D]")).astype(str)


def _write(rng, folder, lines, events, years, hidden):
    log = folder / "log"
    log.mkdir(parents=True)
    tags = lines["tag"].map(lambda tag: f"U{tag:04d}")
    # the units of later installation need their day: a tag that comes again is told apart by it
    again = lines.duplicated("tag", keep=False).to_numpy()
    blank = (rng.random(len(lines)) < hidden) & ~again & (lines["start"] < 0).to_numpy()
    building = (lines["tag"] // 30).astype(str)
    equipment = pd.DataFrame(
        {
            "equipment_id": tags,
            "property": "Oak Row",
            "building": building,
            "model_family": np.array(FAMILIES)[lines["family"]],
            "compressor_type": np.array(TYPES)[lines["kind"]],
            "installed_on": np.where(blank, "", _day(lines["start"])),
            "retired_on": np.where(lines["end"] < years, _day(np.minimum(lines["end"], years)), ""),
            "herm_uf": 40,
            "fan_uf": 5,
        }
    )
    seen = events[events["when"] >= 0].sort_values("when", ignore_index=True)
    keys = [f"V{nth:06d}" for nth in range(len(seen))]
    failed = (seen["why"] == "failed").to_numpy()
    visits = pd.DataFrame(
        {
            "visit_id": keys,
            "equipment_id": tags.to_numpy()[seen["line"]],
            "reported_at": _day(seen["when"]),
            "call_type": np.where(failed, "no cooling", "preventive maintenance"),
            "finding": np.where(failed, seen["component"], ""),
        }
    )
    fitted = seen["component"].str.slice(0, 3).str.upper() + "-" + np.array(FAMILIES)[lines["family"]][seen["line"]]
    lot = "L" + (2 * seen["when"]).astype(int).astype(str)
    parts = pd.DataFrame(
        {"visit_id": keys, "part_no": fitted, "component": seen["component"], "why": seen["why"], "lot": lot}
    )
    last = _day(years - DAY).item()
    coverage = pd.DataFrame([{"property": "Oak Row", "from_date": str(BEGINS), "to_date": last}])
    tables = {"equipment": equipment, "visits": visits, "parts_used": parts, "coverage": coverage}
    for name, table in tables.items():
        table.to_csv(log / f"{name}.csv", index=False)
