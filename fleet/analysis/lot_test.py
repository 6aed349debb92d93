"""Does one lot of parts fail more than the others at the same age? The exact test, most sensitive to early failures.

Given how many parts of all lots failed in each band of age, those of one lot are binomial in its share of the time at
risk, band by band, whatever the failure rate does with age. How long a badly made part shows it, and by how much, isn't
known beforehand; so the test averages the likelihood ratio over both. Sources: the conditional test of two Poisson
rates, J. Przyborowski and H. Wilenski, Biometrika 31 (1940), stratified; averages of likelihood ratios as tests, A.
Wald (1945) and G. Shafer, J. R. Stat. Soc. A 184 (2021) for their reciprocal as a p-value; P. B. Gilbert, J. R. Stat.
Soc. C 54 (2005), false discovery among counts too small to show anything (all from memory).
"""

from __future__ import annotations

from functools import reduce

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from fleet.analysis.poisson import FloatArray

RATIOS = np.array([2.0, 3.0, 5.0, 8.0])
"""How many times the usual rate a bad lot may fail."""

DRAWS = 9_999
SEED = 20_260_403


def early_failures_p(counts: FloatArray, shares: FloatArray, seen: FloatArray) -> float:
    """Return the chance that a lot like the others shows so many failures, or so early, or more.

    Parameters
    ----------
    counts : ndarray of shape (bands,)
        Failures of everyone in each band of age, youngest first.
    shares : ndarray of shape (bands,)
        The lot's share of the time at risk in each band, 0 to 1, neither included.
    seen : ndarray of shape (bands,)
        The lot's own failures in each band.

    Notes
    -----
    The statistic averages the likelihood ratio of a raised rate over `RATIOS` and over the bands up to which the rate
    is raised. Its law given ``counts`` is drawn (seeded, the same draws for every lot); as its mean is one without a
    difference, its reciprocal bounds the p-value too, which reaches below what draws can show. Mid-P, as everywhere.
    """
    raised = RATIOS[:, None] * shares / (1.0 - shares + RATIOS[:, None] * shares)
    gain, loss = np.log(raised / shares), np.log1p(-raised) - np.log1p(-shares)

    def statistic(x: FloatArray) -> FloatArray:
        # log likelihood ratio of each ratio, raised up to each band: shape (draws, ratios, bands)
        ratio = np.cumsum(x[:, None, :] * gain + (counts - x)[:, None, :] * loss, axis=2)
        return np.asarray(special.logsumexp(ratio, axis=(1, 2)) - np.log(ratio.shape[1] * ratio.shape[2]))

    own = float(statistic(seen[None, :])[0])
    rng = np.random.default_rng(SEED)
    drawn = statistic(rng.binomial(counts.astype(np.int64), shares, size=(DRAWS, counts.size)).astype(np.float64))
    # mid-P: draws as unlikely as what was seen count half
    reached = ((drawn > own + 1e-9).sum() + 0.5 * (np.abs(drawn - own) <= 1e-9).sum() + 1.0) / (DRAWS + 1.0)
    return float(min(reached, np.exp(-own)))


def conditional_midp(counts: FloatArray, shares: FloatArray, seen: int) -> float:
    """Return the mid-P chance that a group has ``seen`` or more of the failures.

    Parameters
    ----------
    counts : ndarray of int
        Failures of everyone in each band.
    shares : ndarray
        The group's share of the time at risk in each band, 0 to 1.
    seen : int
        The group's failures over all bands.

    Notes
    -----
    The sum of independent binomials, by convolution; one band gives the conditional test of two Poisson rates.
    """
    laws = [stats.binom.pmf(np.arange(int(n) + 1), int(n), share) for n, share in zip(counts, shares, strict=True)]
    law = reduce(np.convolve, laws, np.ones(1))
    return float(min(1.0, law[seen + 1 :].sum() + 0.5 * law[seen]))


def large_enough(least_p: FloatArray, q: float) -> npt.NDArray[np.bool_]:
    """Say which tests could reach significance at all among ``K`` like them; the others needn't be allowed for.

    Parameters
    ----------
    least_p : ndarray
        The smallest p-value each test could have had; not a number where there is no test.
    q : float
        False discovery rate.

    Source
    ------
    Gilbert (2005): the smallest K with at most K tests able to reach q/K.
    """
    for k in range(1, least_p.size + 1):
        able: npt.NDArray[np.bool_] = least_p <= q / k
        if able.sum() <= k:
            return able
    return ~np.isnan(least_p)
