"""How old was the part when the log first saw it? Lives of unknown birth, by a mixture over what the log didn't see.

A unit ``at_most`` years old has had its parts swapped before the log began, unseen. If parts follow each other as lives
of one law (renewal), the part found in it is of age u with weight r(at_most - u) S(u) G(u): r is the renewal mass that
solves r = p + p*r on a lattice, G the share not removed for another reason. What the log then saw of it is likely as
sum w(u) S(u + x) h(u + x) / S(u) over sum w(u), and so on for the other endings. Everything is tabulated on a lattice
of ages a month or two apart, so a hundred thousand units cost as much as their distinct cells.
Sources: D. R. Cox, Renewal Theory (1962), chapter 5, age in a renewal process (from memory); the part's age, not the
unit's: W. Q. Meeker and L. A. Escobar, Statistical Methods for Reliability Data (1998), chapter 11 (from memory).
Checked by simulation in tests/studies/life_study.py and against a direct sum in tests/unit/test_life_renewal.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from fleet.analysis.life_fit import Likelihood
from fleet.analysis.life_laws import Law
from fleet.analysis.life_sample import IndexArray, distinct_codes
from fleet.analysis.poisson import FloatArray
from fleet.errors import AnalysisError

MOST_CELLS = 60
"""The lattice is two months wide up to ten years, then so wide that this many cells reach the oldest unit: against one
four times as fine B10 moves by at most 0.3 %, an eighth of its standard error in a fleet of 600."""

_FINEST = 1.0 / 6.0
_MOST_AGES = 30
_STEP = 2e-3
_AROUND = np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1)], dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UnknownLives:
    """Lives whose birth the log didn't see, years.

    Attributes
    ----------
    at_most : ndarray
        Age of the unit (or of the oldest part it can be) when watching began; not a number where unknown.
    quiet : ndarray
        Of that, the last years in which it is known not to have been swapped (seen before a short gap of the log).
    low, high : ndarray
        Years watched until the failure, as in `LifeSample`: equal = exact, ``high`` infinite = working at ``low``.
    """

    at_most: FloatArray = field(repr=False)
    quiet: FloatArray = field(repr=False)
    low: FloatArray = field(repr=False)
    high: FloatArray = field(repr=False)

    @property
    def failures(self) -> int:
        """How many of the lives ended in a failure."""
        return int(np.isfinite(self.high).sum())

    @property
    def years(self) -> float:
        """Part-years watched."""
        return float(self.low.sum())

    def __len__(self) -> int:
        """Return the number of lives."""
        return self.at_most.size


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RenewalMixture:
    """The likelihood of lives of unknown birth, tabulated by `renewal_mixture`.

    Attributes
    ----------
    step : float
        Width of the lattice, years.
    removal_rate : float
        Removals for another reason than failure, per part-year; taken as steady and as before the log.
    unit_goes : float
        Share of failures after which the whole unit went: no later part follows such a failure.
    """

    step: float
    removal_rate: float
    unit_goes: float
    _since: IndexArray = field(repr=False)
    _until: IndexArray = field(repr=False)
    _shares: FloatArray = field(repr=False)
    _low: IndexArray = field(repr=False)
    _high: IndexArray = field(repr=False)
    _cells: tuple[IndexArray, FloatArray] = field(repr=False)
    _cell_of: IndexArray = field(repr=False)

    def value(self, law: Law, theta: FloatArray) -> float:
        """Return the log-likelihood at (log scale, log shape)."""
        return float(self.values(law, theta[None, :])[0])

    def values(self, law: Law, thetas: FloatArray) -> FloatArray:
        """Return the log-likelihood at each of several points, an array of shape (n, 2)."""
        oldest = self._since.shape[1] - 1
        count = oldest + int(max(self._low.max(), self._high.max())) + 1
        ages = np.arange(count) * self.step
        edges = np.concatenate([[0.0], (np.arange(count) + 0.5) * self.step])
        alive, alive_at_edges = law.survival(thetas, ages), law.survival(thetas, edges)
        past = self._past(self._renewals(alive_at_edges, oldest))
        seen = past @ self._endings(alive, alive_at_edges, oldest)
        share = seen / np.maximum(past @ alive[:, : oldest + 1, None], 1e-300)
        share = np.concatenate([share, self._shares @ share], axis=1)
        cell, weights = self._cells
        share = np.take(share.reshape(len(share), -1), cell, axis=1)
        value: FloatArray = np.log(np.maximum(share, 1e-300)) @ weights
        return value

    def weighed(self, weights: FloatArray) -> RenewalMixture:
        """Return the likelihood of the same lives, one weight a life."""
        cell, _ = self._cells
        summed = np.bincount(self._cell_of, weights=weights, minlength=cell.size).astype(np.float64)
        return replace(self, _cells=(cell, summed))

    def expand(self, law: Law, theta: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """Return it with its gradient and Hessian, by central differences (the renewal equation has no short ones)."""
        middle, right, left, up, down, ahead, behind = self.values(law, theta + _STEP * _AROUND)
        along = np.array([right - left, up - down]) / (2.0 * _STEP)
        bend, bend_by_shape = right + left - 2.0 * middle, up + down - 2.0 * middle
        # along the diagonal both bends and twice the cross term add up
        cross = 0.5 * (ahead + behind - 2.0 * middle - bend - bend_by_shape)
        return float(middle), along, np.array([[bend, cross], [cross, bend_by_shape]]) / _STEP**2

    def _renewals(self, alive_at_edges: FloatArray, oldest: int) -> FloatArray:
        """Return the expected births at each lattice time after the unit's own: r = 1 at 0, then r = p*r."""
        edge = np.concatenate([[0.0], (np.arange(oldest + 1) + 0.5) * self.step])
        stays = np.exp(-self.removal_rate * edge)
        failed = -np.diff(alive_at_edges[:, : oldest + 2])
        ended = -np.diff(alive_at_edges[:, : oldest + 2] * stays)
        mass = ended - self.unit_goes * failed * np.exp(-self.removal_rate * np.arange(oldest + 1) * self.step)
        if oldest:
            mass[:, 1] += mass[:, 0]
        return _renewal_masses(mass)

    def _past(self, births: FloatArray) -> FloatArray:
        """Return, by row, the weight of each age at which the part may have been found, but for its survival."""
        stays = np.exp(-self.removal_rate * np.arange(births.shape[1]) * self.step)
        # births of the present lattice time: only the half of them before it
        stays[0] = 0.5
        known = np.concatenate([births, np.zeros((births.shape[0], 1))], axis=1)
        weight: FloatArray = known[:, self._since] * stays
        return weight

    def _endings(self, alive: FloatArray, alive_at_edges: FloatArray, oldest: int) -> FloatArray:
        """Return how likely each ending is for a part found at each age, times its survival to that age."""
        width = np.full(alive.shape[1], self.step)
        width[0] = 0.5 * self.step
        density = -np.diff(alive_at_edges) / width
        exact = int(np.count_nonzero(self._high == self._low))
        parts = [np.take(density, self._until[:, :exact], axis=1), np.take(alive, self._until[:, exact:], axis=1)]
        chance = np.concatenate(parts, axis=2)
        between = self._high > self._low
        if between.any():
            age = np.arange(oldest + 1)[:, None]
            chance[:, :, between] -= alive[:, age + self._high[between]]
        return chance


def _renewal_masses(mass: FloatArray) -> FloatArray:
    """Return r of r = 1 at 0, then r = p*r, by row of p: the power series 1 / (1 - p), read off a circle within one.

    The circle's radius lets what wraps around and what rounding adds both stay below 1e-12.
    """
    size = mass.shape[1]
    points = 8 * 2 ** math.ceil(math.log2(size + 1))
    radius = np.exp(-32.0 / points * np.arange(size))
    shrunk = mass * radius
    shrunk[:, 0] = 0.0
    births: FloatArray = np.fft.irfft(1.0 / (1.0 - np.fft.rfft(shrunk, points)), points)[:, :size] / radius
    return births


def renewal_mixture(
    lives: UnknownLives,
    *,
    removal_rate: float = 0.0,
    unit_goes: float = 0.0,
    unit_ages: npt.ArrayLike = (),
    weights: FloatArray | None = None,
) -> RenewalMixture:
    """Tabulate lives of unknown birth for a fit.

    Parameters
    ----------
    lives : UnknownLives
    removal_rate : float
        Removals for another reason than failure, per part-year.
    unit_goes : float
        Share of failures, 0 to 1, after which the whole unit went.
    unit_ages : array-like
        Ages at the log's start of units like those whose own age is unknown: their births are mixed over these.
    weights : ndarray, optional
        One weight a life.

    Raises
    ------
    AnalysisError
        When there is no life, or a life of unknown unit age but no ``unit_ages``.
    """
    ages, unknown = np.asarray(unit_ages, dtype=np.float64), np.isnan(lives.at_most)
    if len(lives) == 0 or (unknown.any() and ages.size == 0):
        msg = (
            f"{len(lives)} lives of unknown birth, {int(unknown.sum())} of them in units of unknown age, and "
            f"{ages.size} unit ages to go by: leave those lives out, or give unit_ages"
        )
        raise AnalysisError(msg)
    candidates = _spread(ages) if unknown.any() else np.empty(0)
    oldest = max(float(np.nanmax(np.where(unknown, 0.0, lives.at_most))), _oldest_candidate(candidates, lives, unknown))
    step = max(_FINEST, oldest / MOST_CELLS)
    rows, row_of, shares = _rows(lives, candidates, step)
    low, high, column_of = _columns(lives, step)
    cell, where = distinct_codes(row_of * low.size + column_of)
    count = np.bincount(where, weights=weights, minlength=cell.size).astype(np.float64)
    return RenewalMixture(
        step=step,
        removal_rate=removal_rate,
        unit_goes=unit_goes,
        _since=_time_since(rows),
        _until=np.arange(rows[:, 0].max() + 1)[:, None] + low,
        _shares=shares,
        _low=low,
        _high=high,
        _cells=(cell, count),
        _cell_of=where,
    )


def _time_since(rows: IndexArray) -> IndexArray:
    """Return, by row and age, the lattice time of a birth after the unit's own; the last place where it can't be."""
    age = np.arange(rows[:, 0].max() + 1)
    since = rows[:, :1] - age
    return np.where((since >= 0) & (age >= rows[:, 1:]), since, age.size)


def _oldest_candidate(candidates: FloatArray, lives: UnknownLives, unknown: npt.NDArray[np.bool_]) -> float:
    return float(candidates.max() + lives.quiet[unknown].max()) if candidates.size else 0.0


def _spread(ages: FloatArray) -> FloatArray:
    """Return at most thirty equally likely ages that stand for all."""
    if ages.size <= _MOST_AGES:
        return ages
    middle: FloatArray = np.quantile(ages, (np.arange(_MOST_AGES) + 0.5) / _MOST_AGES)
    return middle


def _rows(lives: UnknownLives, candidates: FloatArray, step: float) -> tuple[IndexArray, IndexArray, FloatArray]:
    """Return distinct (oldest age, quiet) in cells, each life's row, and the shares of rows that mix others."""
    unknown = np.isnan(lives.at_most)
    quiet = np.rint(lives.quiet / step).astype(np.intp)
    oldest = np.maximum(np.rint(np.where(unknown, 0.0, lives.at_most) / step).astype(np.intp), quiet)
    quiets, which = np.unique(quiet[unknown], return_inverse=True)
    maybe = np.rint(candidates / step).astype(np.intp)
    mixed = np.array([[age + q, q] for q in quiets for age in maybe], dtype=np.intp).reshape(-1, 2)
    pairs = np.vstack([np.column_stack([oldest, quiet])[~unknown], mixed])
    width = int(pairs[:, 1].max()) + 1
    code, row = distinct_codes(pairs[:, 0] * width + pairs[:, 1])
    rows = np.column_stack([code // width, code % width])
    known = int((~unknown).sum())
    shares = np.zeros((quiets.size, len(rows)))
    for nth in range(quiets.size):
        mine = row[known + nth * maybe.size : known + (nth + 1) * maybe.size]
        shares[nth] = np.bincount(mine, minlength=len(rows)) / maybe.size
    row_of = np.empty(len(lives), dtype=np.intp)
    row_of[~unknown] = row[:known]
    row_of[unknown] = len(rows) + which
    return rows, row_of, shares


def _columns(lives: UnknownLives, step: float) -> tuple[IndexArray, IndexArray, IndexArray]:
    """Return distinct endings (cells watched until; -1 = still working) and each life's own."""
    low = np.rint(lives.low / step).astype(np.intp)
    exact, alive = lives.low == lives.high, np.isinf(lives.high)
    high = np.rint(np.where(alive, 0.0, lives.high) / step).astype(np.intp)
    high = np.where(alive, -1, np.where(exact, low, np.maximum(high, low + 1)))
    width, apart = int(high.max()) + 2, int(low.max()) + 1
    # exact failures first: they alone are looked up as densities
    ending, which = distinct_codes((np.where(exact, 0, apart) + low) * width + high + 1)
    return ending // width % apart, ending % width - 1, which


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JoinedLikelihood:
    """Several likelihoods of independent lives, as one."""

    parts: tuple[Likelihood, ...]

    def value(self, law: Law, theta: FloatArray) -> float:
        """Return the sum of their log-likelihoods."""
        return math.fsum(part.value(law, theta) for part in self.parts)

    def values(self, law: Law, thetas: FloatArray) -> FloatArray:
        """Return the sum of their log-likelihoods at each of several points."""
        return sum((part.values(law, thetas) for part in self.parts), np.zeros(len(thetas)))

    def expand(self, law: Law, theta: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """Return the sums of their log-likelihoods, gradients and Hessians."""
        values, slopes, hessians = zip(*(part.expand(law, theta) for part in self.parts), strict=True)
        return math.fsum(values), np.sum(slopes, axis=0), np.sum(hessians, axis=0)
