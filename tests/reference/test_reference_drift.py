"""Checks against published numbers: drift to a threshold, and the robust slope.

Sources: W. Q. Meeker and L. A. Escobar, Statistical Methods for Reliability Data (1998), Table C.17, operating current
of 15 gallium arsenide lasers (percent increase at 250, 500, ..., 4000 hours; failure at 10 %), values from the book's
data repository; the pseudo failure times as in the book, from memory, recomputed by straight lines through each laser's
readings with (0, 0) among them. M. Hollander and D. A. Wolfe, Nonparametric Statistical Methods, cloud seeding example,
from memory.
"""

import numpy as np
import pytest

from fleet.analysis.mixed_drift import DriftDesign, fit_mixed_drift
from fleet.analysis.theil_sen import theil_sen

LASERS = """
0.4741 0.9255 2.1147 2.7168 3.511 4.3415 4.9076 5.4782 5.9925 6.7224 7.1303 8.0006 8.9193 9.494 9.8675 10.9446
0.7078 1.2175 1.8955 2.2954 2.865 3.7454 4.4192 4.9894 5.5148 6.0668 6.6385 7.1615 7.7778 8.4242 8.9092 9.2834
0.7074 1.1651 1.7253 1.9888 2.5325 2.9695 3.2977 3.9354 4.1613 4.4459 4.889 5.2696 5.6913 6.0216 6.4485 6.8849
0.3634 0.6161 1.3597 1.9525 2.2995 2.9468 3.3871 3.7863 4.1116 4.5013 4.7209 4.9766 5.2812 5.615 5.9503 6.1438
0.2707 0.6144 1.1093 1.773 2.0625 2.5835 2.9863 3.3765 4.0491 4.626 5.237 5.6191 6.0449 6.3167 7.0952 7.5941
0.3584 1.3922 1.9541 2.8617 3.4552 3.8117 4.533 5.3541 5.9217 6.7078 7.7027 8.6053 9.1477 9.951 10.4857 11.0096
0.3637 0.9237 1.2098 1.4591 1.9323 2.3862 2.6799 2.9397 3.4183 4.0857 4.5843 4.8402 5.1145 5.5691 6.114 7.1723
0.458 1.0678 1.4163 1.7659 2.1061 2.3969 2.78 3.0187 3.289 3.7542 4.1595 4.7575 5.1597 5.4591 5.8085 6.245
0.5098 0.9308 1.5713 1.9576 2.5871 3.2892 3.6075 4.1148 4.5964 4.913 5.3408 5.8418 6.3961 6.8441 7.2037 7.8848
0.4136 1.488 2.381 2.995 3.835 4.501 5.251 6.256 7.051 7.803 8.321 8.93 9.554 10.45 11.28 12.21
0.4435 0.9978 1.5738 1.9584 2.5093 2.8436 3.4682 4.007 4.5124 4.8018 5.2042 5.6556 6.1951 6.5405 6.9626 7.4238
0.3864 0.7988 1.3521 1.741 2.979 3.5871 4.0315 4.4393 4.7906 5.2205 5.4848 5.9639 6.2276 6.9877 7.3671 7.8841
0.3034 0.7448 1.5225 1.8548 2.3897 2.9473 3.5104 3.9207 5.0316 5.4708 5.8362 6.4962 6.9372 7.3883 7.8472 8.087
0.438 0.6979 1.0515 1.3526 1.7998 2.5514 2.8274 3.3908 3.7159 4.0906 4.8296 5.4145 5.759 6.1419 6.5086 6.8823
0.5056 0.8349 1.2864 1.5191 1.9148 2.2697 2.7763 3.4153 3.7814 4.1053 4.3754 4.6295 5.3831 5.8391 6.1618 6.6247
"""
PSEUDO_HOURS = [3702, 4194, 5847, 6172, 5301, 3592, 6051, 6538, 5110, 3306, 5326, 4995, 4721, 5689, 6102]


def lasers():
    """Return each laser's loss as the model takes it (negative), time in thousands of hours, (0, 0) included."""
    rise = np.array([[float(x) for x in line.split()] for line in LASERS.strip().splitlines()])
    y = -np.hstack([np.zeros((15, 1)), rise])
    t = np.tile(np.arange(17) * 0.25, (15, 1))
    return y, t


def fitted():
    y, t = lasers()
    n = y.size
    design = DriftDesign(
        y=y.ravel(),
        t=t.ravel(),
        part=np.repeat(np.arange(15), 17),
        running=np.zeros(n, dtype=bool),
        shared=np.column_stack([np.ones(n), t.ravel()]),
        prior_mean=np.array([0.0, -1.0]),
        prior_sd=np.array([5.0, 5.0]),
        group=np.array([-1, -1]),
        new=np.ones(15, dtype=bool),
    )
    fit = fit_mixed_drift(design)
    lines = fit.lines(np.arange(15), np.full(15, 4.0), np.tile([1.0, 4.0], (15, 1)), np.tile([0.0, 1.0], (15, 1)))
    return fit, lines


def test_least_squares_lines_give_the_published_pseudo_failure_times():
    y, t = lasers()
    lines = [np.polyfit(t[i], -y[i], 1) for i in range(15)]
    hours = [1000 * (10 - level) / slope for slope, level in lines]
    assert np.round(hours).tolist() == PSEUDO_HOURS


def test_mixed_model_crosses_where_the_published_lines_do():
    # with seventeen readings a laser the fleet hardly pulls a line: within 1 %, and toward the middle of the fleet
    _, lines = fitted()
    hours = 4000 + 1000 * (-10 - lines.level) / lines.slope
    assert hours == pytest.approx(np.array(PSEUDO_HOURS), rel=0.01)


def test_mixed_model_spread_of_slopes_is_that_of_the_lines():
    y, t = lasers()
    slopes = np.array([np.polyfit(t[i], y[i], 1)[0] for i in range(15)])
    fit, lines = fitted()
    assert fit.effects[1] == pytest.approx(slopes.mean(), rel=0.01)
    # fifteen lasers only: the prior of the spread (0.35) pulls it down a little
    assert 0.93 < fit.spreads["slope"] / slopes.std(ddof=1) < 1.0
    residual = np.concatenate([y[i] - np.polyval(np.polyfit(t[i], y[i], 1), t[i]) for i in range(15)])
    assert fit.spreads["noise_bench"] == pytest.approx(np.sqrt((residual**2).sum() / (15 * 15)), rel=0.02)
    assert np.ptp(lines.slope) < np.ptp(slopes)


def test_robust_slope_of_the_cloud_seeding_example():
    assert theil_sen([1, 2, 3, 4, 5], [1.26, 1.27, 1.12, 1.16, 1.03]) == pytest.approx(-0.05625, abs=1e-12)
    assert np.isnan(theil_sen([1, 1], [2, 3]))
