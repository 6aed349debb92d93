"""How does each capacitor section lose capacitance, when readings are few and noisy? A linear mixed model.

A reading's deviation from rated (percent) = effects shared by many (level of new and of older parts, slope of the
fleet and of each kind, meters) + the part's own level and slope + noise. The part's own line is normal and is
integrated out, part by part (Woodbury); the shared effects have normal priors, so a log of three readings has an
answer too, wide and near the priors; the spreads are found by maximising the marginal likelihood times weak priors.
Prediction keeps the uncertainty of the part's line and of the shared effects. Sources: N. M. Laird and J. H. Ware,
Biometrics 38 (1982), random-effect lines; C. J. Lu and W. Q. Meeker, Technometrics 35 (1993), degradation paths to a
threshold (both from memory). Checked in tests/reference/test_reference_drift.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import optimize

from fleet.analysis.poisson import FloatArray

IntArray = npt.NDArray[np.intp]

SPREADS = ("level_new", "level_old", "slope", "kind_slope", "meter", "noise_bench", "noise_running")
"""The spreads fitted, in percent of rated (slopes: percent a year)."""

_PRIOR_CENTER = np.log([1.5, 2.5, 0.35, 0.15, 0.8, 1.0, 2.2])
_PRIOR_SD = np.array([0.5, 0.5, 0.5, 0.7, 0.7, 0.5, 0.4])
"""Priors of the log spreads: what a marked tolerance of 6 % and a hand meter of 1 to 2 % make plausible (common
practice, no source); a few hundred readings outweigh them."""

_METER_TAIL = 2.0
"""Degrees of freedom of the meters' law: most meters near the truth, now and then one far off (an assumption)."""

_LEAST_METER_SPREAD = 0.2

_MOST_PARTS = 5_000
"""The spreads are fitted to at most so many parts, evenly picked; every part is predicted."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DriftDesign:
    """Readings and parts as arrays.

    Attributes
    ----------
    y, t : ndarray of shape (readings,)
        Deviation from rated, percent; years since the part's origin. Sorted by part.
    part : ndarray of int, shape (readings,)
        Each reading's part.
    running : ndarray of bool, shape (readings,)
        Whether worked out from volts and amps; noisier than a bench reading.
    shared : ndarray of shape (readings, effects)
        What each shared effect counts in each reading.
    prior_mean, prior_sd : ndarray of shape (effects,)
        Prior of each effect; a ``prior_sd`` of nan is fitted: see ``group``.
    group : ndarray of int, shape (effects,)
        Index into `SPREADS` of an effect whose spread is fitted (kind_slope or meter), else -1.
    new : ndarray of bool, shape (parts,)
        Whether the part's age is known, so that its origin is its birth.
    """

    y: FloatArray
    t: FloatArray
    part: IntArray
    running: npt.NDArray[np.bool_]
    shared: FloatArray = field(repr=False)
    prior_mean: FloatArray
    prior_sd: FloatArray
    group: IntArray
    new: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixedDrift:
    """The fitted model: spreads by name, shared effects with covariance, and what the parts' readings add up to."""

    spreads: dict[str, float]
    effects: FloatArray
    covariance: FloatArray = field(repr=False)
    sums: _Sums = field(repr=False)

    def lines(
        self, parts: IntArray, at: FloatArray, shared_level: FloatArray, shared_slope: FloatArray
    ) -> PredictedLines:
        """Predict true level and slope of parts.

        Parameters
        ----------
        parts : ndarray of int
            Which parts; a part without readings gets its kind's line.
        at : ndarray
            Years since each part's origin for which the level is asked.
        shared_level, shared_slope : ndarray of shape (parts, effects)
            What each shared effect counts in the level at ``at`` and in the slope; meters count nothing.
        """
        inner, pulled, cross = self.sums.posterior(self.spreads)
        m, q = inner[parts], cross[parts]
        z0 = np.stack([np.ones_like(at), at], axis=1)
        z1 = np.broadcast_to(np.array([0.0, 1.0]), z0.shape)
        residual = pulled[parts] - np.einsum("pik,k->pi", q, self.effects)
        own = np.einsum("pij,pj->pi", m, residual)
        mz0, mz1 = np.einsum("pij,pj->pi", m, z0), np.einsum("pij,pj->pi", m, z1)
        g0 = shared_level - np.einsum("pik,pi->pk", q, mz0)
        g1 = shared_slope - np.einsum("pik,pi->pk", q, mz1)
        c0, c1 = g0 @ self.covariance, g1 @ self.covariance
        return PredictedLines(
            level=shared_level @ self.effects + (z0 * own).sum(axis=1),
            slope=shared_slope @ self.effects + (z1 * own).sum(axis=1),
            level_variance=(z0 * mz0).sum(axis=1) + (c0 * g0).sum(axis=1),
            covariance=(z0 * mz1).sum(axis=1) + (c0 * g1).sum(axis=1),
            slope_variance=(z1 * mz1).sum(axis=1) + (c1 * g1).sum(axis=1),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PredictedLines:
    """Each part's true level now and slope: means, variances, covariance (percent of rated, percent a year)."""

    level: FloatArray
    slope: FloatArray
    level_variance: FloatArray
    covariance: FloatArray
    slope_variance: FloatArray

    def ahead(self, years: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        """Return mean and standard deviation of the level ``years`` from now."""
        mean = self.level + self.slope * years
        variance = self.level_variance + 2.0 * years * self.covariance + self.slope_variance * np.square(years)
        return mean, np.sqrt(np.maximum(variance, 1e-12))


def fit_mixed_drift(design: DriftDesign, *, start: MixedDrift | None = None) -> MixedDrift:
    """Fit the spreads and the shared effects, from an earlier fit's spreads where there is one.

    Returns
    -------
    MixedDrift
        With its priors alone where there is no reading.
    """
    sums = _Sums(design)
    first = _PRIOR_CENTER if start is None else np.log([start.spreads[name] for name in SPREADS])
    if design.y.size == 0:
        spreads = dict(zip(SPREADS, np.exp(_PRIOR_CENTER), strict=True))
        sd = _effect_sd(design, spreads)
        return MixedDrift(spreads=spreads, effects=design.prior_mean, covariance=np.diag(sd**2), sums=sums)
    fitted = _Sums(_thinned(design))

    def loss(log_spreads: FloatArray) -> float:
        prior = 0.5 * float((((log_spreads - _PRIOR_CENTER) / _PRIOR_SD) ** 2).sum())
        spreads = dict(zip(SPREADS, np.exp(log_spreads), strict=True))
        return prior - fitted.solve(spreads, _effect_sd(design, spreads))[2]

    bounds = [(low - 4.0, low + 4.0) for low in _PRIOR_CENTER]
    best = optimize.minimize(loss, first, method="L-BFGS-B", bounds=bounds, options={"maxiter": 60, "ftol": 1e-7})
    spreads = {name: float(value) for name, value in zip(SPREADS, np.exp(best.x), strict=True)}
    effects, covariance = _with_heavy_tailed_meters(design, sums, spreads)
    return MixedDrift(spreads=spreads, effects=effects, covariance=covariance, sums=sums)


def _with_heavy_tailed_meters(
    design: DriftDesign, sums: _Sums, spreads: dict[str, float]
) -> tuple[FloatArray, FloatArray]:
    """Return the shared effects when meters follow a t law; sets the meters' spread to that law's scale.

    All meters reading low together look like all parts being low: only the meters' law says where the truth lies. A
    normal law puts it at their mean, which one broken meter drags along; under a t law it counts for little (found by
    reweighting, K. L. Lange et al., J. Am. Stat. Assoc. 84 (1989), from memory).
    """
    sd = _effect_sd(design, spreads)
    meters = design.group == SPREADS.index("meter")
    effects, covariance, _ = sums.solve(spreads, sd)
    for _ in range(30 if meters.sum() > 2 else 0):
        square = effects[meters] ** 2
        weight = (_METER_TAIL + 1.0) / (_METER_TAIL + square / spreads["meter"] ** 2)
        spreads["meter"] = max(float(np.sqrt((weight * square).mean())), _LEAST_METER_SPREAD)
        sd[meters] = spreads["meter"] / np.sqrt(weight)
        effects, covariance, _ = sums.solve(spreads, sd)
    return effects, covariance


def _effect_sd(design: DriftDesign, spreads: dict[str, float]) -> FloatArray:
    values = np.array([spreads[name] for name in SPREADS])
    return np.where(design.group >= 0, values[design.group], design.prior_sd)


class _Sums:
    """Sums over each part's readings, bench and running apart, so that a likelihood costs no pass over the readings."""

    def __init__(self, design: DriftDesign) -> None:
        self.design = design
        self.split = [self._sums(design, rows) for rows in (~design.running, design.running)]

    @staticmethod
    def _sums(design: DriftDesign, rows: npt.NDArray[np.bool_]) -> dict[str, FloatArray]:
        parts = design.new.size
        y, t, f, p = design.y[rows], design.t[rows], design.shared[rows], design.part[rows]

        def add(values: FloatArray) -> FloatArray:
            return np.asarray(np.bincount(p, weights=values, minlength=parts), dtype=np.float64)

        inner = np.empty((parts, 2, 2))
        inner[:, 0, 0], inner[:, 1, 1] = add(np.ones_like(t)), add(t * t)
        inner[:, 0, 1] = inner[:, 1, 0] = add(t)
        cross = np.zeros((parts, 2, f.shape[1]))
        for k in range(f.shape[1]):
            cross[:, 0, k], cross[:, 1, k] = add(f[:, k]), add(f[:, k] * t)
        return {
            "inner": inner,
            "pulled": np.stack([add(y), add(y * t)], axis=1),
            "cross": cross,
            "square": f.T @ f,
            "score": f.T @ y,
            "rest": np.array([float(y @ y), float(y.size)]),
        }

    def _weighted(self, name: str, spreads: dict[str, float]) -> FloatArray:
        bench, running = self.split
        noise = (spreads["noise_bench"], spreads["noise_running"])
        return np.asarray(bench[name] / noise[0] ** 2 + running[name] / noise[1] ** 2)

    def _own_precision(self, spreads: dict[str, float]) -> tuple[FloatArray, FloatArray]:
        """Return each part's prior precision of (level, slope), and its log determinant."""
        level = np.where(self.design.new, spreads["level_new"], spreads["level_old"])
        precision = np.zeros((level.size, 2, 2))
        precision[:, 0, 0], precision[:, 1, 1] = level**-2.0, spreads["slope"] ** -2.0
        return precision, -2.0 * np.log(level * spreads["slope"])

    def posterior(self, spreads: dict[str, float]) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return each part's posterior covariance given the shared effects, its weighted sums of y and of effects."""
        precision, _ = self._own_precision(spreads)
        inner: FloatArray = np.linalg.inv(precision + self._weighted("inner", spreads)).astype(np.float64)
        return inner, self._weighted("pulled", spreads), self._weighted("cross", spreads)

    def solve(self, spreads: dict[str, float], sd: FloatArray) -> tuple[FloatArray, FloatArray, float]:
        """Return the shared effects, their covariance, and the log marginal likelihood (up to a constant).

        ``sd`` holds the standard deviation of each effect's prior.
        """
        design = self.design
        precision, log_det_own = self._own_precision(spreads)
        a = precision + self._weighted("inner", spreads)
        det = a[:, 0, 0] * a[:, 1, 1] - a[:, 0, 1] ** 2
        # Cholesky of the inverse, written out: m = r r'
        r00 = np.sqrt(a[:, 1, 1] / det)
        r10 = -a[:, 0, 1] / np.sqrt(a[:, 1, 1] * det)
        r11 = 1.0 / np.sqrt(a[:, 1, 1])
        pulled, cross = self._weighted("pulled", spreads), self._weighted("cross", spreads)
        top = r00[:, None] * cross[:, 0] + r10[:, None] * cross[:, 1]
        bottom = r11[:, None] * cross[:, 1]
        y_top, y_bottom = r00 * pulled[:, 0] + r10 * pulled[:, 1], r11 * pulled[:, 1]
        both = np.vstack([top, bottom])
        information = self._weighted("square", spreads) - _gram(both)
        score = self._weighted("score", spreads) - np.einsum("pk,p->k", both, np.concatenate([y_top, y_bottom]))
        square = float(self._weighted("rest", spreads)[0] - y_top @ y_top - y_bottom @ y_bottom)
        posterior = information + np.diag(sd**-2.0)
        right = score + design.prior_mean / sd**2
        covariance = np.linalg.inv(posterior)
        covariance = 0.5 * (covariance + covariance.T)
        effects = covariance @ right
        _, log_det_posterior = np.linalg.slogdet(posterior)
        counts = [float(part["rest"][1]) for part in self.split]
        log_noise = counts[0] * np.log(spreads["noise_bench"]) + counts[1] * np.log(spreads["noise_running"])
        quadratic = square + float((design.prior_mean**2 / sd**2).sum()) - float(right @ effects)
        log_det = float(np.log(det).sum() - log_det_own.sum()) + log_det_posterior + 2.0 * float(np.log(sd).sum())
        return effects, covariance, -0.5 * (quadratic + log_det) - float(log_noise)


def _gram(rows: FloatArray) -> FloatArray:
    """Return rows' rows in blocks too small for the linear algebra library to split over threads.

    The likelihood asks for this hundreds of times; on a busy machine waiting for a second thread made it thirty times
    slower (measured on two cores).
    """
    k = rows.shape[1]
    block = max(8, 200_000 // (k * k))
    padded = np.zeros((-(-rows.shape[0] // block) * block, k))
    padded[: rows.shape[0]] = rows
    blocks = padded.reshape(-1, block, k)
    return np.asarray((blocks.transpose(0, 2, 1) @ blocks).sum(axis=0))


def _thinned(design: DriftDesign) -> DriftDesign:
    """Keep at most `_MOST_PARTS` parts, evenly picked among those with readings."""
    read = np.unique(design.part)
    kept = read[np.linspace(0, read.size - 1, min(_MOST_PARTS, read.size)).astype(np.intp)]
    rows = np.isin(design.part, kept)
    return DriftDesign(
        y=design.y[rows],
        t=design.t[rows],
        part=np.searchsorted(kept, design.part[rows]),
        running=design.running[rows],
        shared=design.shared[rows],
        prior_mean=design.prior_mean,
        prior_sd=design.prior_sd,
        group=design.group,
        new=design.new[kept],
    )
