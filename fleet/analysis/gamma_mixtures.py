"""Which quantile has each group, when its rate is a weighted mixture of gamma laws? The numerics of shrinkage.

Checked against draws and against single gamma quantiles in tests/unit/test_shrinkage.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy import interpolate, special

from fleet.analysis.poisson import FloatArray

MANY_CELLS = 2000
"""Beyond this many distinct (count, exposure) pairs, smooth functions of them are splined along exposure."""

_SPLINE_NODES = 33

CellFunction = Callable[[FloatArray, FloatArray], FloatArray]
Nodes = tuple[FloatArray, FloatArray, FloatArray, FloatArray]
"""Gamma laws to average over: shapes, rates, means (where the rate is zero the mean is given apart), weights."""


def unique_pairs(n: FloatArray, exposure: FloatArray) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """Return the distinct (count, exposure) pairs and where each group's pair stands among them."""
    order = np.lexsort((exposure, n))
    n_, t_ = n[order], exposure[order]
    new = np.ones(n.size, dtype=np.bool_)
    new[1:] = (np.diff(n_) != 0) | (np.diff(t_) != 0)
    inverse = np.empty(n.size, dtype=np.intp)
    inverse[order] = np.cumsum(new) - 1
    return np.column_stack([n_[new], t_[new]]), inverse


def by_cell(n: FloatArray, exposure: FloatArray, function: CellFunction) -> FloatArray:
    """Work out a smooth function of (count, exposure) once a distinct pair, by spline where pairs are very many."""
    pairs, inverse = unique_pairs(n, exposure)
    counts, exposures = pairs[:, 0], pairs[:, 1]
    if counts.size <= MANY_CELLS:
        return function(counts, exposures)[inverse]
    values = np.empty(counts.size)
    for count in np.unique(counts):
        cells = np.flatnonzero((counts == count) & (exposures > 0))
        if cells.size <= _SPLINE_NODES:
            values[cells] = function(counts[cells], exposures[cells])
            continue
        along = np.geomspace(exposures[cells[0]], exposures[cells[-1]], _SPLINE_NODES)
        spline = interpolate.CubicSpline(np.log(along), function(np.full(_SPLINE_NODES, count), along))
        values[cells] = spline(np.log(exposures[cells]))
    idle = np.flatnonzero(exposures == 0)
    values[idle] = function(counts[idle], exposures[idle])
    return values[inverse]


def log_mixture_quantile(n: FloatArray, exposure: FloatArray, nodes: Nodes, p: float) -> FloatArray:
    """Return the log of the p-quantile of each cell's mixture of Gamma(n + shape, exposure + rate).

    Newton steps on the log of the nearer tail against log x, which is almost straight even for very
    skew gammas, kept inside a bracket that closes in.
    """
    shapes, rates, _, weights = nodes
    shape = n[:, None] + shapes[None, :]
    rate = exposure[:, None] + rates[None, :]
    tail, sign = (special.gammainc, 1.0) if p < 0.5 else (special.gammaincc, -1.0)
    target = math.log(p if p < 0.5 else 1.0 - p)
    start = _start_of_quantile(shape, rate, weights, p)
    y, low, high = start, np.full(start.shape, -740.0), np.full(start.shape, 700.0)
    log_norm = special.gammaln(shape)
    with np.errstate(all="ignore"):
        for _ in range(100):
            scaled = rate * np.exp(y)[:, None]
            mass = tail(shape, scaled) @ weights
            slope = np.exp(special.xlogy(shape, scaled) - scaled - log_norm) @ weights
            gap = np.log(mass) - target
            found = np.abs(gap) < 1e-9
            if found.all():
                break
            above = sign * gap > 0
            high, low = np.where(above, y, high), np.where(above, low, y)
            step = y - sign * gap * mass / slope
            inside = (step > low) & (step < high)
            y = np.where(found, y, np.where(inside, step, 0.5 * (low + high)))
    return y


def _start_of_quantile(shape: FloatArray, rate: FloatArray, weights: FloatArray, p: float) -> FloatArray:
    """Take the quantile of the one gamma with the mixture's mean and variance, where that can be had."""
    with np.errstate(all="ignore"):
        mean = (shape / rate) @ weights
        variance = (shape / rate**2 + (shape / rate) ** 2) @ weights - mean**2
        matched = mean**2 / variance
        start = np.log(special.gammaincinv(matched, p) * variance / mean)
    return np.where(np.isfinite(start), start, 0.0)
