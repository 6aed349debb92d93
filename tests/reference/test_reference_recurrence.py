"""Recurrent failures against published growth, trend and mean-cumulative examples.

Each source is named at its check. "[from memory]" marks a printed answer remembered, not re-read; "computed
independently" one that no page prints.
"""

import numpy as np
import pytest

from fleet.analysis.recurrence import (
    fit_power_law,
    fit_power_law_grouped,
    laplace_trend,
    mean_cumulative,
    mtbf_interval,
)
from fleet.analysis.trends import lewis_robinson_trend, power_law_limits

NIST_HOURS = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]

# fmt: off
HANDBOOK_189 = [
    2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1, 101.1, 132.0, 142.2,
    147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1,
]
GROWTH_22 = [
    2.7, 10.3, 12.5, 30.6, 57.0, 61.3, 80.0, 109.5, 125.0, 128.6, 143.8, 167.9, 229.2, 296.7, 320.6, 328.2, 366.2,
    396.7, 421.1, 438.2, 501.2, 620.0,
]
SUBMARINE_ENGINE = [
    1.382, 2.990, 4.124, 6.827, 7.472, 7.567, 8.845, 9.450, 9.794, 10.848, 11.993, 12.300, 15.413, 16.497, 17.352,
    17.632, 18.122, 19.067, 19.172, 19.299, 19.360, 19.686, 19.940, 19.944, 20.121, 20.132, 20.431, 20.525, 21.057,
    21.061, 21.309, 21.310, 21.378, 21.391, 21.456, 21.461, 21.603, 21.658, 21.688, 21.750, 21.815, 21.820, 21.822,
    21.888, 21.930, 21.943, 21.946, 22.181, 22.311, 22.634, 22.635, 22.669, 22.691, 22.846, 22.947, 23.149, 23.305,
    23.491, 23.526, 23.774, 23.791, 23.822, 24.006, 24.286, 25.000, 25.010, 25.048, 25.268, 25.400, 25.500, 25.518,
]
# Hours at which a load-haul-dump machine's hydraulic system failed, to 2000 h (Kumar, Klefsjo and Granholm 1989; read
# in the program of Kvaloy and Lindqvist).
LOAD_HAUL_DUMP = [
    16, 39, 71, 95, 98, 110, 114, 226, 294, 344, 555, 599, 757, 822, 963, 1077, 1167, 1202, 1257, 1317, 1345, 1372,
    1402, 1536, 1625, 1643, 1675, 1726, 1736, 1772, 1796, 1799, 1814, 1868, 1894, 1970,
]
# fmt: on

# Valve seats of 41 engines (Nelson, Technometrics 37 (1995); identical in two public copies, read): end:replacements.
VALVE_SEATS = (
    "761: 759: 667:98 667:326,653,653 665: 667:84 663:87 653:646 653:92 651: 650:258,328,377,621 648:61,539 "
    "644:254,276,298,640 642:76,538 641:635 649:349,404,561 631: 596: 614:120,479 582:323,449 589:139,139 593: 589:573 "
    "606:165,408,604 594:249 613:344,497 595:265,586 389:166,206,348 601: 601:410,581 611: 608: 587: 603:367 "
    "585:202,563,570 587: 578: 578: 586: 585: 582:"
)


def one_unit(ages, stop):
    return [0.0], [stop], [0] * len(ages), ages


def valve_seats():
    stops, units, ages = [], [], []
    for position, engine in enumerate(VALVE_SEATS.split()):
        end, _, replaced = engine.partition(":")
        stops.append(float(end))
        for age in filter(None, replaced.split(",")):
            units.append(position)
            ages.append(float(age))
    assert (len(stops), len(ages)) == (41, 48)
    return [0.0] * 41, stops, units, ages


def test_nist_power_law():
    """NIST/SEMATECH e-Handbook 8.4.5.2 (formulas and output read): ten failures in 1500 h, bias-corrected."""
    fit = fit_power_law(*one_unit(NIST_HOURS, 1500.0), unbiased=True)
    assert fit.shape == pytest.approx(0.483506, rel=2e-6)
    assert 1 - fit.shape == pytest.approx(0.516494, rel=2e-6)
    assert fit.scale == pytest.approx(0.2913003, rel=1e-6)
    assert 1 / fit.rate(1500.0) == pytest.approx(310.234, rel=2e-6)
    limits = mtbf_interval(fit, 1500.0, 0.80)
    assert (limits.low, limits.high) == pytest.approx((157.7138, 548.5566), rel=1e-6)


def test_nist_power_law_plain():
    """Same data without the correction: values of an independent test file, recomputed."""
    fit = fit_power_law(*one_unit(NIST_HOURS, 1500.0))
    assert (fit.shape, fit.scale) == pytest.approx((0.537229, 0.196658), rel=2e-6)
    assert 1 / fit.rate(1500.0) == pytest.approx(279.211, rel=2e-6)


def test_nist_trend():
    """NIST/SEMATECH e-Handbook 8.2.3.4 [from memory]: 2 sum ln(T/t) = 37.23; Laplace computed independently."""
    fit = fit_power_law(*one_unit(NIST_HOURS, 1500.0))
    assert 2 * fit.n / fit.shape == pytest.approx(37.23, rel=1e-4)
    assert laplace_trend(*one_unit(NIST_HOURS, 1500.0)).z == pytest.approx(-1.327, rel=3e-4)


def test_handbook_189_time_terminated():
    """MIL-HDBK-189 (1981), appendix C, values as read in an independent validation file."""
    fit = fit_power_law(*one_unit(HANDBOOK_189, 300.0))
    assert (fit.shape, fit.scale) == pytest.approx((0.71634, 0.45384), rel=1e-5)
    assert fit.rate(300.0) == pytest.approx(0.064471, rel=1e-5)
    assert 1 / fit.rate(300.0) == pytest.approx(15.511, rel=3e-5)
    assert fit_power_law(*one_unit(HANDBOOK_189, 300.0), unbiased=True).shape == pytest.approx(0.68981, rel=1e-5)


def test_handbook_189_grouped():
    """MIL-HDBK-189 (1981), grouped data, values as read in an independent validation file."""
    fit = fit_power_law_grouped([20, 40, 60, 80, 100], [13, 16, 5, 8, 7])
    assert (fit.shape, fit.scale) == pytest.approx((0.752851, 1.529306), rel=1e-6)
    assert fit.rate(100.0) == pytest.approx(0.368897, rel=2e-6)
    assert 1 / fit.rate(100.0) == pytest.approx(2.71078, rel=2e-6)
    assert fit.expected(80.0, 100.0) / 20.0 == pytest.approx(0.3788703, rel=1e-6)


def test_growth_of_twenty_two_failures():
    """Public reliability wiki's growth example, as quoted in an open program's tests (read): .6142104, .4239422."""
    fit = fit_power_law(*one_unit(GROWTH_22, 620.0))
    assert (fit.shape, fit.scale) == pytest.approx((0.6142104, 0.4239422), rel=1e-6)
    assert 1 / fit.rate(620.0) == pytest.approx(45.883, rel=2e-5)  # computed independently


def test_submarine_engine():
    """Meeker and Escobar, Statistical Methods for Reliability Data, ch. 16 (data read, answers [from memory])."""
    assert len(SUBMARINE_ENGINE) == 71
    fit = fit_power_law(*one_unit(SUBMARINE_ENGINE, 25.5181))
    assert fit.shape == pytest.approx(2.76, rel=1e-3)
    assert fit.scale ** (-1 / fit.shape) == pytest.approx(5.45, rel=1e-3)
    assert laplace_trend(*one_unit(SUBMARINE_ENGINE, 25.5181)).z == pytest.approx(7.596, rel=1e-4)


@pytest.mark.parametrize(
    ("age", "mean", "sd"),
    [
        (61, 0.0244, 0.0241),
        (98, 0.1463, 0.0552),
        (165, 0.2439, 0.0754),
        (258, 0.3902, 0.0905),
        (326, 0.5122, 0.1097),
        (404, 0.6835, 0.1359),
        (497, 0.8085, 0.1493),
        (573, 0.9585, 0.1690),
        (586, 1.0143, 0.1738),
        (604, 1.0597, 0.1851),
        (621, 1.1185, 0.2075),
        (646, 1.3205, 0.2285),
        (653, 1.5427, 0.3117),
    ],
)
def test_valve_seats(age, mean, sd):
    """Nelson (1995), data read; the function and its robust errors computed independently, to four decimals."""
    curve = mean_cumulative(*valve_seats())
    at = int(np.flatnonzero(curve.ages == age)[0])
    assert curve.mean[at] == pytest.approx(mean, abs=5.1e-5)
    assert curve.sd[at] == pytest.approx(sd, abs=5.1e-5)


def test_valve_seats_risk_set():
    """A replacement at the age where other engines leave still has them at risk: nine at 653 days."""
    curve = mean_cumulative(*valve_seats())
    assert curve.at_risk[curve.ages == 653] == 9


def test_five_systems_by_hand():
    """Five systems of a public package's data set; the curve worked out by hand."""
    ages = [5, 10, 15, 6, 13, 17, 12, 20, 25, 13, 15, 16, 22, 25]
    units = [0] * 3 + [1] * 3 + [2] * 3 + [3] * 2 + [4] * 3
    curve = mean_cumulative([0.0] * 5, [17.0, 19.0, 26.0, 24.0, 28.0], units, ages)
    assert list(curve.ages) == [5, 6, 10, 12, 13, 15, 16, 17, 20, 22, 25]
    by_hand = [0.2, 0.4, 0.6, 0.8, 1.2, 1.6, 1.8, 2.0, 2.3333, 2.6667, 3.6667]
    np.testing.assert_allclose(curve.mean, by_hand, rtol=2e-5)
    np.testing.assert_allclose(curve.sd[:2] ** 2, [0.032, 0.048], rtol=1e-12)


def test_lewis_robinson_of_a_mining_machine():
    """Kvaloy and Lindqvist, Technometrics 62 (2020), section 8.1 (as quoted in an open project's tests, read).

    Laplace 0.605, Lewis-Robinson 0.681 with the gaps' coefficient of variation 0.888.
    """
    data = one_unit(LOAD_HAUL_DUMP, 2000.0)
    laplace, uneven = laplace_trend(*data), lewis_robinson_trend(*data)
    assert laplace.z == pytest.approx(0.605, abs=5.1e-4)
    assert uneven.z == pytest.approx(0.681, abs=5.1e-4)
    assert laplace.z / uneven.z == pytest.approx(0.888, abs=5.1e-4)


def test_lewis_robinson_of_the_submarine_engine():
    """The same authors' program (read), rule "s": root 12 over c tau root n, times the sum of t - tau/2."""
    times = np.array(SUBMARINE_ENGINE[:24])
    gaps = np.diff(times, prepend=0.0)
    by_program = np.sqrt(12) / (gaps.std(ddof=1) / gaps.mean() * 20 * np.sqrt(24)) * (times.sum() - 24 * 10)
    assert lewis_robinson_trend(*one_unit(times, 20.0)).z == pytest.approx(by_program, rel=1e-12)


def test_handbook_factors_lie_near_the_approximate_limits():
    """Exact factors on the MTBF after 27 failures, 90 %, of a space agency's table (read): 0.6361, 1.6818.

    The approximation of the NIST handbook is looser: within 1.5 %.
    """
    unbiased = fit_power_law(*one_unit(HANDBOOK_189, 300.0), unbiased=True)
    plain = fit_power_law(*one_unit(HANDBOOK_189, 300.0))
    limits = mtbf_interval(unbiased, 300.0, 0.90)
    factors = (limits.low * plain.rate(300.0), limits.high * plain.rate(300.0))
    assert factors == pytest.approx((0.6361467, 1.6817864), rel=0.015)


def test_shape_limits_of_the_submarine_engine():
    """From age zero the log shape's variance is 1/n (large-sample form of MIL-HDBK-189): 71 failures, shape 2.76."""
    data = one_unit(SUBMARINE_ENGINE, 25.5181)
    fit = fit_power_law(*data)
    bounds = power_law_limits(fit, *data, level=0.90)
    step = np.exp(1.6448536 / np.sqrt(71))
    assert (bounds.low, bounds.high) == pytest.approx((fit.shape / step, fit.shape * step), rel=1e-5)
    assert bounds.low > 1  # it deteriorates, as the book says
