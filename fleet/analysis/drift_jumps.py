"""Was a part changed without a word, or has a section given way? Readings that drift can't explain.

Each part's readings are taken in order; each is compared with what those before it lead to expect (a Kalman filter on
level and slope). A jump upward says that somebody changed the part and wrote nothing; a deep fall is no drift.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fleet.analysis.mixed_drift import DriftDesign, MixedDrift
from fleet.analysis.poisson import FloatArray

JUMP_SD = 3.5
"""A reading so many standard deviations above what was expected begins a new part."""

FALL_SD = 4.0
"""A reading so many standard deviations below what was expected is kept out of the drift."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OddReadings:
    """Which readings begin a part nobody recorded, and which are kept out (a fall, or a slip upward that went back)."""

    jumps: npt.NDArray[np.bool_]
    falls: npt.NDArray[np.bool_]
    slips: npt.NDArray[np.bool_]


def find_odd_readings(design: DriftDesign, fit: MixedDrift) -> OddReadings:
    """Compare each reading with those before it; ``design`` holds the readings by part and time."""
    n = design.y.size
    place = np.arange(n) - np.searchsorted(design.part, design.part)
    jumps, falls = np.zeros(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
    mean, spread = _start(design, fit)
    residual = design.y - design.shared @ fit.effects
    noise = np.where(design.running, fit.spreads["noise_running"], fit.spreads["noise_bench"]) ** 2
    shared_variance = np.einsum("ik,kl,il->i", design.shared, fit.covariance, design.shared)
    for k in range(int(place.max(initial=-1)) + 1):
        rows = np.flatnonzero(place == k)
        p, h = design.part[rows], np.stack([np.ones(rows.size), design.t[rows]], axis=1)
        sh = np.einsum("pij,pj->pi", spread[p], h)
        variance = (h * sh).sum(axis=1) + noise[rows]
        gap = residual[rows] - (h * mean[p]).sum(axis=1)
        z = gap / np.sqrt(variance + shared_variance[rows])
        # a part's first reading has nothing before it: only the level of its kind
        up, down = (z > JUMP_SD) & (k > 0), z < -FALL_SD
        jumps[rows[up]], falls[rows[down]] = True, True
        gain = np.where(down[:, None], 0.0, sh / variance[:, None])
        mean[p] += gain * gap[:, None]
        spread[p] -= gain[:, :, None] * sh[:, None, :]
        _restart(mean, spread, p[up], residual[rows[up]], design.t[rows[up]], noise[rows[up]], fit.spreads["slope"])
    slips = _slips(design, jumps, falls)
    following = np.append(False, slips[:-1])
    return OddReadings(jumps=jumps & ~slips, falls=falls & ~following, slips=slips)


def _start(design: DriftDesign, fit: MixedDrift) -> tuple[FloatArray, FloatArray]:
    level = np.where(design.new, fit.spreads["level_new"], fit.spreads["level_old"])
    spread = np.zeros((design.new.size, 2, 2))
    spread[:, 0, 0], spread[:, 1, 1] = level**2, fit.spreads["slope"] ** 2
    return np.zeros((design.new.size, 2)), spread


def _restart(
    mean: FloatArray, spread: FloatArray, p: npt.NDArray[np.intp], level: FloatArray, t: FloatArray, noise: FloatArray,
    slope_sd: float,
) -> None:  # fmt: skip
    """Set parts that jumped to the level just read, slope unknown: level at t fixed by the reading alone."""
    mean[p, 0], mean[p, 1] = level, 0.0
    spread[p, 1, 1] = slope_sd**2
    spread[p, 0, 1] = spread[p, 1, 0] = -t * slope_sd**2
    spread[p, 0, 0] = noise + t**2 * slope_sd**2


def _slips(design: DriftDesign, jumps: npt.NDArray[np.bool_], falls: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Find jumps that the same part's next reading takes back: one high reading, not a new part."""
    if design.y.size == 0:
        return jumps
    same_part = np.append(design.part[1:] == design.part[:-1], False)
    return np.asarray(jumps & same_part & np.append(falls[1:], False))
