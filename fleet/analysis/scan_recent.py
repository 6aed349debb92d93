"""Is something going on right now? The scan of windows that reach to the log's last week.

Looked at every week, a scan of all windows would ring again and again for the same old heap, and a small alarm rate a
look adds up over a summer. So only windows that end with the last week are judged, against what the time before them
lets one expect: each building's level, shrunk toward the fleet's as far as buildings differ, times the weeks' usual
course. What isn't known of a building's level is part of chance: fleets without a heap are drawn with levels from their
gamma posterior. Sources: M. Kulldorff, J. R. Stat. Soc. A 164 (2001), the prospective scan; D. B. Neill and G. F.
Cooper, Mach. Learn. 79 (2010), gamma-Poisson expectation-based scan (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy import stats

from fleet.analysis.poisson import FloatArray
from fleet.analysis.scan import LEAST_EXPECTED, MIN_FAILURES, IntArray, Windows
from fleet.analysis.shrinkage import MIN_GROUPS, fit_gamma_prior

ALIKE = 1000.0
"""Failures as usual a building's level is worth at most beforehand: buildings that seem alike are alike."""

FEW_BUILDINGS = 2.0
"""The same where too few buildings are there to say how they differ; a building's own past then mostly decides."""

_MOST_CELLS = 4_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class RecentBaseline:
    """What the last weeks should bring: a gamma law of each building's level, and its failures as usual.

    ``shape`` and ``level`` have shape (buildings,): the level has a gamma law of that shape and mean ``level``;
    ``usual`` has shape (buildings, reach), failures at level one in each week of the reach, the last week first.
    """

    shape: FloatArray
    level: FloatArray
    usual: FloatArray = field(repr=False)

    @property
    def expected(self) -> FloatArray:
        """Failures to expect in the last 1, 2, … weeks, shape (buildings, reach)."""
        return np.asarray(self.level[:, None] * np.cumsum(self.usual, axis=1))


def recent_baseline(seen: FloatArray, usual: FloatArray, *, max_weeks: int) -> RecentBaseline:
    """Say what the last weeks should bring, from all weeks before them.

    Parameters
    ----------
    seen, usual : ndarray of shape (buildings, weeks)
        Failures, and their usual course up to a factor (`fleet.analysis.scan_baseline.UsualWeeks.shares`).
    max_weeks : int
        The reach, weeks; at least one week must lie before it.
    """
    before, usual_before = seen[:, :-max_weeks].sum(axis=1), usual[:, :-max_weeks].sum(axis=1)
    scale = before.sum() / usual_before.sum() if usual_before.sum() > 0 else 0.0
    expected_before = usual_before * scale
    prior = _shape_between(before, expected_before)
    return RecentBaseline(
        shape=prior + before,
        level=(prior + before) / (prior + expected_before),
        usual=usual[:, ::-1][:, :max_weeks] * scale,
    )


def recent_windows(seen: FloatArray, baseline: RecentBaseline) -> Windows:
    """Return each building's windows that begin on a failure and end with the last week.

    Returns
    -------
    Windows
        Only windows of `fleet.analysis.scan.MIN_FAILURES` or more; ``llr`` is `level_ratio`.
    """
    n_weeks, reach = seen.shape[1], baseline.usual.shape[1]
    last = seen[:, ::-1][:, :reach]
    observed = np.cumsum(last, axis=1)
    ratio = level_ratio(observed, baseline.expected, baseline.shape[:, None])
    at, back = np.nonzero((last > 0) & (observed >= MIN_FAILURES))
    return Windows(
        building=at.astype(np.int64),
        first_week=(n_weeks - 1 - back).astype(np.int64),
        last_week=np.full(at.size, n_weeks - 1, dtype=np.int64),
        observed=observed[at, back].astype(np.int64),
        expected=baseline.expected[at, back],
        llr=ratio[at, back],
    )


def drawn_recent_maxima(baseline: RecentBaseline, *, rng: np.random.Generator, replicates: int) -> FloatArray:
    """Return the largest ratio of each of ``replicates`` fleets without a heap; zero where no window holds enough."""
    at_once = max(1, _MOST_CELLS // max(baseline.usual.size, 1))
    sizes = [min(at_once, replicates - done) for done in range(0, replicates, at_once)]
    return np.concatenate([_maxima(baseline, rng, size) for size in sizes])


def _maxima(baseline: RecentBaseline, rng: np.random.Generator, replicates: int) -> FloatArray:
    scale = baseline.level / baseline.shape
    levels = rng.gamma(baseline.shape, scale, size=(replicates, baseline.shape.size))
    observed = np.cumsum(rng.poisson(levels[:, :, None] * baseline.usual[None]), axis=2)
    ratio = level_ratio(observed, baseline.expected[None], baseline.shape[None, :, None])
    enough = np.where(observed >= MIN_FAILURES, ratio, 0.0)
    return np.asarray(enough.max(axis=(1, 2), initial=0.0))


def level_ratio(observed: FloatArray | IntArray, expected: FloatArray, shape: FloatArray) -> FloatArray:
    """Return how much better a raised rate explains a count than the level known beforehand, log likelihood ratio.

    The count's law is gamma-Poisson (negative binomial) with mean ``expected`` and ``shape``; zero where no more were
    seen than expected.
    """
    c, e, a = np.broadcast_arrays(
        np.asarray(observed, dtype=np.float64), np.maximum(expected, LEAST_EXPECTED), np.asarray(shape)
    )
    result = np.zeros(c.shape)
    high = c > e
    c, e, a = c[high], e[high], a[high]
    result[high] = c * np.log(c / e) - (a + c) * np.log((a + c) / (a + e))
    return result


def chance_found_now(baseline: RecentBaseline, *, ratio: float, critical: float) -> FloatArray:
    """Return each building's chance that ``ratio`` times its usual, all through the reach, is named.

    Parameters
    ----------
    ratio : float
        How many times the usual the heap brings.
    critical : float
        The ratio of likelihoods from which on a window is named.

    Returns
    -------
    ndarray of shape (buildings,)
        Only the whole reach is tried, so the scan itself finds a little more.
    """
    expected = baseline.expected[:, -1]
    found = np.zeros(expected.size)
    for i, (mean, shape) in enumerate(zip(expected, baseline.shape, strict=True)):
        # the fewest failures that are named
        counts = np.arange(MIN_FAILURES, int(10 * (ratio + 1) * (mean + 1)) + 50)
        named = level_ratio(counts, np.full(counts.size, mean), np.full(counts.size, shape)) >= critical
        least = int(counts[named.argmax()]) if named.any() else 0
        if least and mean > 0:
            found[i] = stats.nbinom.sf(least - 1, shape, shape / (shape + ratio * mean))
    return found


def _shape_between(seen: FloatArray, expected: FloatArray) -> float:
    risky = expected > 0
    if risky.sum() < MIN_GROUPS or seen[risky].sum() == 0:
        return FEW_BUILDINGS
    return min(fit_gamma_prior(seen[risky], expected[risky]).shape, ALIKE)
