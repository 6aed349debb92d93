"""How many parts must be tested, with so many bad, before a lot may be trusted? Exact binomial answers.

Source: the exact binomial bound of C. J. Clopper and E. S. Pearson, Biometrika 26 (1934), one-sided; with none bad it
is ln(1 - level) / ln(1 - share). Checked in tests/reference/test_reference_repeats.py against published sample sizes.
"""

from __future__ import annotations

import math

from scipy import special

from fleet.analysis.poisson import check_level
from fleet.errors import AnalysisError
from fleet.settings import LEVEL


def sample_needed(limit_share: float, *, bad: int = 0, level: float = LEVEL) -> int:
    """Say how many must be tested, ``bad`` of them bad, to show that the share bad lies below a limit.

    Parameters
    ----------
    limit_share : float
        The share bad that one is willing to live with, between 0 and 1.
    bad : int
        How many of those tested were, or may be, bad.
    level : float
        One-sided level: a lot as bad as the limit would pass with a chance of at most 1 - level.

    Returns
    -------
    int
        The smallest n for which ``bad`` or fewer among n have a chance of at most 1 - level where the share is the
        limit.

    Raises
    ------
    AnalysisError
        When the limit doesn't lie between 0 and 1, ``bad`` is negative or the level out of range.

    Notes
    -----
    The number is fixed before testing. Who tests until the count looks right is fooled more often than the level says.
    """
    check_level(level)
    if not 0 < limit_share < 1 or bad < 0:
        msg = f"limit_share = {limit_share} must lie between 0 and 1, and bad = {bad} must be zero or more"
        raise AnalysisError(msg)
    if bad == 0:
        # a hair below the quotient: rounding must not ask for one test more where the quotient is whole
        return max(1, math.ceil(math.log1p(-level) / math.log1p(-limit_share) - 1e-9))
    low, high = bad, bad + 1
    while _chance_of_passing(bad, high, limit_share) > 1 - level:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if _chance_of_passing(bad, middle, limit_share) > 1 - level:
            low = middle
        else:
            high = middle
    return high


def _chance_of_passing(bad: int, n: int, share: float) -> float:
    """P(X <= bad) of a binomial count of n."""
    return float(special.bdtr(bad, n, share))
