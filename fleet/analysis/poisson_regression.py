"""Which columns raise a failure rate, the others held fixed? Poisson regression with exposure and a weak prior.

log(expected failures) = offset + design @ coefficients, fitted by Newton steps. A normal prior on a coefficient
(a ridge) keeps a level with few failures from running off. Sources: P. McCullagh and J. A. Nelder, Generalized
Linear Models (2nd ed. 1989), chapter 6; K.-Y. Liang and S. L. Zeger, Biometrika 73 (1986), the cluster-robust
covariance. Checked in tests/reference/test_reference_rates.py against a two-group ratio worked by hand and in
tests/unit/test_poisson_regression.py against a general-purpose optimizer.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from fleet.analysis.poisson import FloatArray, Interval, check_level
from fleet.errors import AnalysisError
from fleet.settings import LEVEL

INTERCEPT = "intercept"

_TOLERANCE = 1e-12
_SINGULAR = 1e-11
_MAX_STEPS = 50
_MAX_HALVINGS = 40


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DesignMatrix:
    """A frame turned into numbers: one column an effect, named ``column=level`` or ``column``.

    Attributes
    ----------
    matrix : ndarray of shape (rows, effects)
        First the intercept, then the dummies of each categorical column, then the numeric columns.
    names : tuple of str
        Name of each effect.
    baselines : mapping of str to str
        The level of each categorical column that its other levels are compared with.
    """

    matrix: FloatArray = field(repr=False)
    names: tuple[str, ...]
    baselines: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PoissonFit:
    """Fitted log rate ratios with their covariances.

    Attributes
    ----------
    coefficients : ndarray of shape (effects,)
        Log rate ratios; the first is the log rate of the baseline.
    covariance : ndarray of shape (effects, effects)
        Model covariance: inverse of information plus prior precision.
    robust_covariance : ndarray or None
        Cluster-robust covariance where clusters were given.
    deviance : float
        Twice the log-likelihood's distance from a perfect fit, without the prior.
    converged : bool
        False when Newton steps ran out, as they do where a level has no failure and no prior holds it.
    """

    names: tuple[str, ...]
    coefficients: FloatArray
    covariance: FloatArray = field(repr=False)
    robust_covariance: FloatArray | None = field(repr=False)
    log_likelihood: float
    deviance: float
    n_rows: int
    n_clusters: int
    iterations: int
    converged: bool

    def ratio(self, name: str) -> float:
        """Give the rate ratio of one effect against its baseline."""
        return math.exp(self.coefficients[self._position(name)])

    def ratio_interval(self, name: str, level: float = LEVEL, *, robust: bool = False) -> Interval:
        """Bound the rate ratio of one effect, on the log scale; ``robust`` takes the cluster-robust error.

        Raises
        ------
        AnalysisError
            When the effect is unknown or ``robust`` is asked of a fit made without clusters.
        """
        check_level(level)
        covariance = self.robust_covariance if robust else self.covariance
        if covariance is None:
            msg = "a robust interval needs the fit to be given clusters; fit again with clusters="
            raise AnalysisError(msg)
        position = self._position(name)
        tail = 0.5 + level / 2.0
        z = float(special.stdtrit(self.n_clusters - 1.0, tail) if robust else special.ndtri(tail))
        step = z * math.sqrt(covariance[position, position])
        center = float(self.coefficients[position])
        return Interval(
            low=math.exp(center - step),
            high=math.exp(center + step),
            level=level,
            method="Poisson regression, cluster-robust" if robust else "Poisson regression",
        )

    def predict(self, matrix: npt.ArrayLike, offset: npt.ArrayLike = 0.0) -> FloatArray:
        """Expect failures for rows of a design matrix; ``offset`` is their log exposure."""
        log_mean = np.asarray(matrix, dtype=np.float64) @ self.coefficients + np.asarray(offset, dtype=np.float64)
        expected: FloatArray = np.exp(log_mean)
        return expected

    def _position(self, name: str) -> int:
        if name not in self.names:
            msg = (
                f"no effect named {name!r} in this fit; it has {', '.join(self.names[:5])} and {len(self.names)} in all"
            )
            raise AnalysisError(msg)
        return self.names.index(name)


def design_matrix(
    frame: pd.DataFrame,
    categorical: Sequence[str],
    numeric: Sequence[str] = (),
    *,
    baselines: Mapping[str, str] | None = None,
) -> DesignMatrix:
    """Turn columns of a frame into a design matrix with an intercept.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a cell or unit.
    categorical : sequence of str
        Columns coded as dummies. A blank is a level of its own, ``unknown``.
    numeric : sequence of str
        Columns taken as they are (center them for a readable intercept); blanks are refused.
    baselines : mapping of str to str, optional
        Baseline level by column. Otherwise it is the level with most rows; of equals, the first by name.

    Returns
    -------
    DesignMatrix
        A column with a single level adds no effect.

    Raises
    ------
    AnalysisError
        When a column or baseline level doesn't exist or a numeric column holds a blank.
    """
    missing = [name for name in [*categorical, *numeric] if name not in frame.columns]
    if missing:
        msg = (
            f"no column {', '.join(missing)} to put into the regression; there are {', '.join(map(str, frame.columns))}"
        )
        raise AnalysisError(msg)
    blocks: list[FloatArray] = [np.ones((len(frame), 1))]
    names, used = [INTERCEPT], {}
    for column in categorical:
        levels, codes = _levels(frame[column])
        used[column] = _baseline(column, levels, codes, (baselines or {}).get(column))
        others = [code for code, name in enumerate(levels) if name != used[column]]
        blocks.append((codes[:, None] == np.array(others, dtype=np.intp)[None, :]).astype(np.float64))
        names += [f"{column}={levels[code]}" for code in others]
    for column in numeric:
        values = frame[column].to_numpy(dtype=np.float64, na_value=np.nan)
        _refuse_broken(f"column {column}", values)
        blocks.append(values[:, None])
        names.append(column)
    return DesignMatrix(matrix=np.hstack(blocks), names=tuple(names), baselines=used)


def fit_poisson(
    design: DesignMatrix | npt.ArrayLike,
    counts: npt.ArrayLike,
    *,
    exposure: npt.ArrayLike | None = None,
    offset: npt.ArrayLike | None = None,
    prior_sd: npt.ArrayLike | None = None,
    clusters: npt.ArrayLike | None = None,
) -> PoissonFit:
    """Fit log rate ratios to counts by (penalised) maximum likelihood.

    Parameters
    ----------
    design : DesignMatrix or array-like of shape (rows, effects)
        From `design_matrix`, or any matrix; its columns are then named 0, 1, ...
    counts : array-like of shape (rows,)
        Failures.
    exposure, offset : array-like of shape (rows,), optional
        Unit-years, or their logarithm; at most one of the two. Rows without exposure are left out.
    prior_sd : array-like of shape (effects,) or a number, optional
        Standard deviation of each coefficient's normal prior around zero; infinite for none. A single
        number holds for every effect but the first, the intercept.
    clusters : array-like of shape (rows,), optional
        Unit or building of each row, for the cluster-robust covariance.

    Returns
    -------
    PoissonFit

    Raises
    ------
    AnalysisError
        When shapes differ, a value isn't finite, a count is negative, or the effects can't be told apart.

    Notes
    -----
    Newton steps with step halving on the penalised log-likelihood; the model covariance includes the prior. With a
    prior the robust covariance measures sampling only, not the prior's pull.
    """
    matrix, names = _named_matrix(design)
    y, eta0 = np.asarray(counts, dtype=np.float64), _offset(exposure, offset, matrix.shape[0])
    _check_rows(matrix, y, eta0)
    at_risk = eta0 > -np.inf
    matrix, y, eta0 = (matrix, y, eta0) if at_risk.all() else (matrix[at_risk], y[at_risk], eta0[at_risk])
    precision = _precision(prior_sd, matrix.shape[1])
    beta, iterations, converged = _newton(matrix, y, eta0, precision)
    mean = np.exp(matrix @ beta + eta0)
    bread = _inverse(_information(matrix, mean) + np.diag(precision), names)
    robust, n_clusters = None, 0
    if clusters is not None:
        robust, n_clusters = _robust(matrix, y - mean, bread, np.asarray(clusters)[at_risk])
    with np.errstate(divide="ignore"):
        deviance = 2.0 * float((special.xlogy(y, y / mean) - (y - mean)).sum())
    return PoissonFit(
        names=names,
        coefficients=beta,
        covariance=bread,
        robust_covariance=robust,
        log_likelihood=float((special.xlogy(y, mean) - mean - special.gammaln(y + 1.0)).sum()),
        deviance=deviance,
        n_rows=y.size,
        n_clusters=n_clusters,
        iterations=iterations,
        converged=converged,
    )


def _levels(column: pd.Series) -> tuple[list[str], npt.NDArray[np.intp]]:
    """Return sorted level names and each row's level; blanks become ``unknown``."""
    text = column.astype("object").where(column.notna(), "unknown").astype(str)
    codes, levels = pd.factorize(text, sort=True)
    return [str(level) for level in levels], codes


def _baseline(column: str, levels: list[str], codes: npt.NDArray[np.intp], asked: str | None) -> str:
    if asked is not None and asked not in levels:
        msg = f"baseline {asked!r} isn't a level of {column}; it has {', '.join(levels[:5])} ({len(levels)} in all)"
        raise AnalysisError(msg)
    if asked is not None or not levels:
        return asked or ""
    return levels[int(np.bincount(codes).argmax())]


def _named_matrix(design: DesignMatrix | npt.ArrayLike) -> tuple[FloatArray, tuple[str, ...]]:
    if isinstance(design, DesignMatrix):
        return design.matrix, design.names
    matrix = np.asarray(design, dtype=np.float64)
    if matrix.ndim != 2:
        msg = f"the design has {matrix.ndim} dimensions; rows by effects are needed"
        raise AnalysisError(msg)
    return matrix, tuple(str(column) for column in range(matrix.shape[1]))


def _offset(exposure: npt.ArrayLike | None, offset: npt.ArrayLike | None, rows: int) -> FloatArray:
    if exposure is not None and offset is not None:
        msg = "give exposure or offset, not both: an offset is the logarithm of exposure"
        raise AnalysisError(msg)
    if offset is not None:
        values = np.asarray(offset, dtype=np.float64)
        _refuse_broken("offset", values)
        return values
    if exposure is None:
        return np.zeros(rows)
    values = np.asarray(exposure, dtype=np.float64)
    _refuse_broken("exposure", values, negative=True)
    with np.errstate(divide="ignore"):
        return np.log(values)


def _check_rows(matrix: FloatArray, y: FloatArray, eta0: FloatArray) -> None:
    if y.shape != (matrix.shape[0],) or eta0.shape != y.shape:
        msg = f"design has {matrix.shape[0]} rows, counts {y.shape}, exposure {eta0.shape}; they must agree"
        raise AnalysisError(msg)
    _refuse_broken("counts", y, negative=True)
    _refuse_broken("design", matrix)
    if ((y > 0) & np.isneginf(eta0)).any() or not (eta0 > -np.inf).any():
        msg = "a row counts failures on no exposure, or no row has any exposure; nothing can be fitted"
        raise AnalysisError(msg)


def _refuse_broken(what: str, values: FloatArray, *, negative: bool = False) -> None:
    bad = ~np.isfinite(values) | (negative & (values < 0))
    if bad.any():
        row = int(np.argwhere(bad)[0][0])
        msg = f"{what}: {int(bad.sum())} values blank, infinite or negative, the first in row {row}; drop or mend them"
        raise AnalysisError(msg)


def _precision(prior_sd: npt.ArrayLike | None, effects: int) -> FloatArray:
    if prior_sd is None:
        return np.zeros(effects)
    sd = np.asarray(prior_sd, dtype=np.float64)
    if sd.ndim == 0:
        sd = np.concatenate([[np.inf], np.full(effects - 1, float(sd))])
    if sd.shape != (effects,) or not (sd > 0).all():
        msg = f"prior_sd must be above zero, one number or {effects} of them (infinite for no prior); got {prior_sd}"
        raise AnalysisError(msg)
    return 1.0 / sd**2


def _newton(matrix: FloatArray, y: FloatArray, eta0: FloatArray, precision: FloatArray) -> tuple[FloatArray, int, bool]:
    """Climb the penalised log-likelihood; return coefficients, steps taken and whether they settled."""

    def height(eta: FloatArray, at: FloatArray) -> float:
        with np.errstate(over="ignore"):
            return float(y @ eta - np.exp(eta).sum() - 0.5 * precision @ at**2)

    beta = _start(matrix, y, eta0)
    eta = matrix @ beta + eta0
    now = height(eta, beta)
    for iteration in range(1, _MAX_STEPS + 1):
        mean = np.exp(eta)
        score = matrix.T @ (y - mean) - precision * beta
        step = _solve(_information(matrix, mean) + np.diag(precision), score)
        # Judged before any halving, so that a blocked climb never passes for a finished one.
        settled = float(score @ step) < _TOLERANCE * (1.0 + abs(now)) and float(np.abs(step).max()) < 1e-6
        for _ in range(_MAX_HALVINGS):
            eta = matrix @ (beta + step) + eta0
            then = height(eta, beta + step)
            if then >= now - 1e-12 * abs(now):
                break
            step = 0.5 * step
        beta, now = beta + step, then
        if settled:
            return beta, iteration, True
    return beta, _MAX_STEPS, False


def _start(matrix: FloatArray, y: FloatArray, eta0: FloatArray) -> FloatArray:
    """Begin at the overall rate where the first column is an intercept, else at zero."""
    beta = np.zeros(matrix.shape[1])
    if matrix.shape[1] and (matrix[:, 0] == 1.0).all():
        beta[0] = math.log(max(float(y.sum()), 0.5)) - float(special.logsumexp(eta0))
    return beta


def _information(matrix: FloatArray, mean: FloatArray) -> FloatArray:
    root = matrix * np.sqrt(mean)[:, None]
    information: FloatArray = root.T @ root
    return information


def _scaled(information: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the information with a unit diagonal, and the scale taken out (columns may have any unit)."""
    scale = np.sqrt(np.maximum(np.diag(information), 1e-300))
    return information / np.outer(scale, scale), scale


def _solve(information: FloatArray, score: FloatArray) -> FloatArray:
    unit, scale = _scaled(information)
    solved: FloatArray = np.linalg.lstsq(unit, score / scale, rcond=None)[0].astype(np.float64)
    return solved / scale


def _inverse(information: FloatArray, names: tuple[str, ...]) -> FloatArray:
    unit, scale = _scaled(information)
    values, vectors = np.linalg.eigh(unit)
    if values[0] <= _SINGULAR:
        worst = names[int(np.abs(vectors[:, 0]).argmax())]
        msg = f"the effects can't be told apart (look at {worst}); drop a column, merge levels or give prior_sd"
        raise AnalysisError(msg)
    inverse: FloatArray = (vectors / values) @ vectors.T / np.outer(scale, scale)
    return inverse


def _robust(
    matrix: FloatArray, residual: FloatArray, bread: FloatArray, clusters: npt.NDArray[np.generic]
) -> tuple[FloatArray, int]:
    """Sandwich the summed scores of each cluster, with the G/(G-1) correction."""
    names, codes = np.unique(clusters, return_inverse=True)
    if names.size < 2:
        msg = f"{names.size} cluster can't show how clusters differ; at least 2 are needed"
        raise AnalysisError(msg)
    order = np.argsort(codes, kind="stable")
    starts = np.searchsorted(codes[order], np.arange(names.size))
    scores = np.add.reduceat((matrix * residual[:, None])[order], starts, axis=0)
    middle = scores.T @ scores * names.size / (names.size - 1.0)
    return bread @ middle @ bread, int(names.size)
