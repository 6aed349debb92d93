"""Rates, intervals, two-rate comparisons and shrinkage against published numbers.

Sources are named at each check. "[from memory]" marks a printed answer that was remembered, not re-read; the numbers
were recomputed and agree. Rounding of the printed digits is the only tolerance unless a comment says otherwise.
"""

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fleet.analysis.poisson import (
    clopper_pearson,
    compare_two_rates,
    garwood_interval,
    garwood_limits,
    midp_interval,
    smallest_detectable_ratio,
    upper_bound_for_zero,
)
from fleet.analysis.poisson_regression import design_matrix, fit_poisson
from fleet.analysis.product_limit import product_limit
from fleet.analysis.rate_limits import chance_to_show
from fleet.analysis.shrinkage import (
    fit_gamma_prior,
    negative_binomial_log_likelihood,
    shrink_rates,
    shrink_with_prior,
)

# NIST/SEMATECH e-Handbook 8.4.5.1, factors on the MTBF by number of failures (formula read, table [from memory]).
NIST_MTBF_FACTORS = {
    1: ((0.3340, 4.4814), (0.2571, 9.4912), (0.2108, 19.4957), (0.1795, 39.4979)),
    2: ((0.4674, 2.4260), (0.3758, 3.7607), (0.3177, 5.6281), (0.2768, 8.2573)),
    3: ((0.5440, 1.9543), (0.4490, 2.7222), (0.3869, 3.6689), (0.3422, 4.8491)),
    5: ((0.6324, 1.6184), (0.5391, 2.0554), (0.4756, 2.5379), (0.4285, 3.0798)),
    10: ((0.7326, 1.3719), (0.6491, 1.6074), (0.5895, 1.8432), (0.5438, 2.0853)),
    50: ((0.8788, 1.1371), (0.8286, 1.2142), (0.7901, 1.2832), (0.7585, 1.3473)),
}

# Exact 95 % limits on a count, the form of national vital-statistics technical notes [from memory].
EXACT_95 = {
    1: (0.0253, 5.5716),
    2: (0.2422, 7.2247),
    3: (0.6187, 8.7673),
    4: (1.0899, 10.2416),
    5: (1.6235, 11.6683),
    6: (2.2019, 13.0595),
    7: (2.8144, 14.4227),
    8: (3.4538, 15.7632),
    9: (4.1154, 17.0848),
    10: (4.7954, 18.3904),
    15: (8.3954, 24.7402),
    20: (12.2165, 30.8884),
    25: (16.1787, 36.9049),
    30: (20.2409, 42.8269),
    50: (37.1110, 65.9188),
    100: (81.3640, 121.6268),
}

# Ten pumps: failures and thousands of hours (the classic data of empirical Bayes).
PUMP_FAILURES = [5, 1, 5, 14, 3, 19, 1, 1, 4, 22]
PUMP_KILOHOURS = [94.32, 15.72, 62.88, 125.76, 5.24, 31.44, 1.048, 1.048, 2.096, 10.48]


# Weeks of remission with 6-mercaptopurine and with placebo, + = still in remission (Freireich et al. 1963, as printed
# in many texts [from memory]).
TREATED = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
PLACEBO = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"

# What a general-purpose statistics library gives (statsmodels 0.15.0, 2026-11-25; made by the script beside it).
ORACLE = json.loads((Path(__file__).parent / "data" / "rates_oracle.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("failures", NIST_MTBF_FACTORS)
def test_mtbf_factors_of_the_nist_handbook(failures):
    """NIST/SEMATECH e-Handbook 8.4.5.1: MTBF factors are failures/high and failures/low of the rate's limits."""
    for level, (lower, upper) in zip((0.60, 0.80, 0.90, 0.95), NIST_MTBF_FACTORS[failures], strict=True):
        interval = garwood_interval(failures, 1.0, level)
        assert failures / interval.high == pytest.approx(lower, rel=5e-4)
        assert failures / interval.low == pytest.approx(upper, rel=1e-4)


def test_mtbf_example_of_the_nist_handbook():
    """NIST/SEMATECH e-Handbook 8.4.5.1 [from memory]: two failures in 800 h, 90 % limits 127 and 2251 h."""
    interval = garwood_interval(2, 800.0, 0.90)
    assert 1 / interval.high == pytest.approx(127.07, rel=1e-4)
    assert 1 / interval.low == pytest.approx(2251.23, rel=1e-4)


@pytest.mark.parametrize(("level", "factor"), [(0.60, 1.0914), (0.80, 0.6213), (0.90, 0.4343), (0.95, 0.3338)])
def test_no_failure_at_all_still_bounds_the_mtbf(level, factor):
    """NIST/SEMATECH e-Handbook 8.4.5.1 (formula read): lower MTBF bound T/(-ln a); 3.0/T on the rate at 95 %."""
    assert 1 / upper_bound_for_zero(1.0, level) == pytest.approx(factor, rel=2e-4)


def test_no_failure_both_upper_limits():
    """Manual of an R package for exact Poisson tests (read): 0 events, 3.689 central and 2.996 one-sided."""
    assert garwood_interval(0, 1.0, 0.95).high == pytest.approx(3.689, rel=2e-4)
    assert garwood_interval(0, 1.0, 0.95).low == 0.0
    assert upper_bound_for_zero(1.0, 0.95) == pytest.approx(2.996, rel=2e-4)


def test_exact_limits_on_a_count():
    """Exact 95 % Poisson limits, the form of national vital-statistics notes [from memory]."""
    low, high = garwood_limits(list(EXACT_95), 1.0, 0.95)
    np.testing.assert_allclose(low, [limits[0] for limits in EXACT_95.values()], rtol=1e-3)
    np.testing.assert_allclose(high, [limits[1] for limits in EXACT_95.values()], rtol=1e-5)


@pytest.mark.parametrize(
    ("count", "lower", "upper"),
    [(1, 0.02532, 5.57164), (5, 0.32470, 2.33367), (20, 0.61083, 1.54442), (99, 0.81275, 1.21746)],
)
def test_vital_statistics_factors(count, lower, upper):
    """Factors on a rate from national vital-statistics technical notes [from memory]."""
    interval = garwood_interval(count, float(count), 0.95)
    assert (interval.low, interval.high) == pytest.approx((lower, upper), rel=1e-4)


def test_fifteen_events_in_four_hundred():
    """Open statistics package's test file quoting R output (read): 15 events, exposure 400."""
    interval = garwood_interval(15, 400.0, 0.95)
    assert interval.low == pytest.approx(0.0209884653, rel=1e-8)
    assert interval.high == pytest.approx(0.0618505472, rel=1e-8)
    # Its central exact p-value for a rate of 0.05 is the level at which the limit just reaches 0.05.
    assert garwood_interval(15, 400.0, 1 - 0.3130262693).high == pytest.approx(0.05, rel=1e-8)


def test_deaths_by_horse_kick():
    """R package manual (read): 196 deaths in 280 corps-years, exact 95 % limits."""
    interval = garwood_interval(196, 280.0, 0.95)
    assert (interval.low, interval.high) == pytest.approx((0.6054271, 0.8051570), rel=1e-6)


def test_two_rates_heart_disease():
    """Gu, Ng, Tang, Schucany, Biometrical J. 50 (2008), as quoted in an open package's tests (read)."""
    exact = compare_two_rates(60, 51477.5, 30, 54308.7, level=0.95, method="exact")
    assert exact.ratio == pytest.approx(2.1100, rel=1e-4)
    assert exact.p_greater == pytest.approx(0.000428, rel=1e-3)
    # The interval has no published answer; it was computed independently from the beta distribution.
    assert (exact.interval.low, exact.interval.high) == pytest.approx((1.3397, 3.3884), rel=1e-4)
    assert compare_two_rates(60, 51477.5, 30, 54308.7).p_greater == pytest.approx(0.000310, rel=1e-3)


def test_two_rates_breast_cancer_against_one_and_a_half():
    """Standard epidemiology example (fluoroscopy), as quoted in the same open package's tests (read)."""
    exact = compare_two_rates(41, 28010, 15, 19017, level=0.95, null_ratio=1.5, method="exact")
    assert exact.ratio == pytest.approx(1.8558, rel=1e-4)
    assert exact.p_greater == pytest.approx(0.2913, rel=1e-3)
    assert compare_two_rates(41, 28010, 15, 19017, null_ratio=1.5).p_greater == pytest.approx(0.2450, rel=1e-3)
    # Computed independently, as above.
    assert (exact.interval.low, exact.interval.high) == pytest.approx((1.0057, 3.6093), rel=1e-4)


def test_regression_gives_the_two_rate_ratio_and_its_log_wald_test():
    """Same example A: the log-Wald z of 3.3393 (read) is the regression coefficient over its standard error."""
    frame = pd.DataFrame({"group": ["exposed", "other"]})
    fit = fit_poisson(
        design_matrix(frame, ["group"], baselines={"group": "other"}), [60, 30], exposure=[51477.5, 54308.7]
    )
    assert fit.ratio("group=exposed") == pytest.approx(2.1100, rel=1e-4)
    assert fit.coefficients[1] / math.sqrt(fit.covariance[1, 1]) == pytest.approx(3.3393, rel=1e-4)


def test_share_of_four_in_twenty():
    """NIST/SEMATECH e-Handbook 7.2.4.1 [from memory]: 4 of 20, 90 % exact limits."""
    interval = clopper_pearson(4, 20, 0.90)
    assert (interval.low, interval.high) == pytest.approx((0.071354, 0.401029), rel=1e-5)


def test_crashes_on_a_road_segment():
    """Hauer, Harwood, Council, Griffith, TRR 1784 (2002), worked example: one year, then three years of counts."""
    per_year, shape = 2.41 * 1.8, 2.05 * 1.8
    one = shrink_with_prior([12], [1.0], shape=shape, rate=shape / per_year)
    assert one.mean[0] == pytest.approx(8.48, rel=1e-3)
    assert one.sd[0] == pytest.approx(2.14, rel=2e-3)  # printed to three digits
    assert one.mean[0] / 1.8 == pytest.approx(4.71, rel=1e-3)
    three = shrink_with_prior([12 + 7 + 8], [3.0], shape=shape, rate=shape / per_year)
    assert three.mean[0] == pytest.approx(7.97, rel=1e-3)
    assert three.sd[0] == pytest.approx(1.44, rel=2e-3)  # printed to three digits


def test_ten_pumps_by_maximum_likelihood():
    """Ten pumps: most likely gamma law, computed independently with a general optimizer."""
    prior = fit_gamma_prior(PUMP_FAILURES, PUMP_KILOHOURS)
    assert (prior.shape, prior.rate) == pytest.approx((0.82227, 1.25895), rel=1e-5)
    shrunk = shrink_with_prior(PUMP_FAILURES, PUMP_KILOHOURS, shape=prior.shape, rate=prior.rate)
    expected = [0.0609, 0.1073, 0.0908, 0.1167, 0.5881, 0.6062, 0.7899, 0.7899, 1.4374, 1.9441]
    np.testing.assert_allclose(shrunk.mean, expected, rtol=5e-4)


def test_ten_pumps_by_full_bayes():
    """Bayesian software manual, example "Pumps" [from memory]: shape ~ Exp(1), rate ~ Gamma(0.1, 1).

    The manual's numbers are simulated: its two pumps with the same data differ by 0.7 %.
    """
    shapes, rates = np.geomspace(0.05, 8, 40), np.geomspace(0.02, 12, 40)
    log_weight = np.empty((shapes.size, rates.size))
    means = np.empty((shapes.size, rates.size, 10))
    for i, shape in enumerate(shapes):
        for j, rate in enumerate(rates):
            likelihood = negative_binomial_log_likelihood(PUMP_FAILURES, PUMP_KILOHOURS, mean=shape / rate, shape=shape)
            # Priors, and the Jacobian of the two logarithmic grids.
            log_weight[i, j] = likelihood - shape + 0.1 * math.log(rate) - rate + math.log(shape)
            means[i, j] = (np.array(PUMP_FAILURES) + shape) / (np.array(PUMP_KILOHOURS) + rate)
    weight = np.exp(log_weight - log_weight.max())
    posterior = np.tensordot(weight / weight.sum(), means, axes=2)
    printed = [0.0597, 0.1016, 0.0894, 0.1160, 0.6052, 0.6105, 0.9035, 0.9096, 1.587, 1.995]
    np.testing.assert_allclose(posterior, printed, rtol=0.018)  # simulation error of the printed values
    integrated = [0.0598, 0.1017, 0.0893, 0.1160, 0.6014, 0.6087, 0.8939, 0.8939, 1.5891, 1.9935]
    np.testing.assert_allclose(posterior, integrated, rtol=1e-3)  # an independent grid integration


def test_ten_pumps_with_the_laws_own_uncertainty():
    """Ten pumps: keeping the law uncertain widens intervals over the plug-in ones of plain empirical Bayes."""
    full = shrink_rates(PUMP_FAILURES, PUMP_KILOHOURS)
    prior = fit_gamma_prior(PUMP_FAILURES, PUMP_KILOHOURS)
    plug_in = shrink_with_prior(PUMP_FAILURES, PUMP_KILOHOURS, shape=prior.shape, rate=prior.rate)
    assert ((full.high - full.low) > (plug_in.high - plug_in.low)).sum() >= 8
    assert full.mean[6] == full.mean[7]


def test_smallest_ratio_that_would_show():
    """Fixed point of log R = 2.4865 sqrt(1/E0 + 1/(E1 R)), z values from any normal table (1.6449 + 0.8416)."""
    ratio = smallest_detectable_ratio(10.0, 10.0)
    assert math.log(ratio) == pytest.approx(2.48647 * math.sqrt(0.1 + 0.1 / ratio), rel=1e-5)
    assert ratio == pytest.approx(2.5312, rel=1e-4)


@pytest.mark.parametrize(
    ("successes", "n", "exact", "wilson"),
    [
        (81, 263, (0.2527, 0.3676), (0.2553, 0.3662)),
        (15, 148, (0.0578, 0.1617), (0.0624, 0.1605)),
        (0, 20, (0.0, 0.1684), (0.0, 0.1611)),
        (1, 29, (0.0009, 0.1776), (0.0061, 0.1718)),
    ],
)
def test_shares_of_the_classic_comparison_of_intervals(successes, n, exact, wilson):
    """Newcombe, Statistics in Medicine 17 (1998), table I [from memory]: exact limits, and Wilson's inside them."""
    interval = clopper_pearson(successes, n, 0.95)
    assert (interval.low, interval.high) == pytest.approx(exact, abs=5.1e-5)
    assert interval.low <= wilson[0] < wilson[1] < interval.high


def remissions(text):
    return [float(t.rstrip("+")) for t in text.split()], [not t.endswith("+") for t in text.split()]


def at_risk_table():
    """Return one row a week of relapse and arm: at risk and relapsed, held against our own product-limit curves."""
    arms = {"treated": TREATED, "placebo": PLACEBO}
    weeks = np.unique([w for text in arms.values() for w, e in zip(*remissions(text), strict=True) if e])
    rows = []
    for arm, text in arms.items():
        times, ended = remissions(text)
        curve = product_limit(0.0, times, ended, fewest=1)
        for week in weeks:
            failed = curve.failures[curve.ages == week].sum()
            risk = int((np.array(times) >= week).sum())
            assert not failed or curve.at_risk[curve.ages == week][0] == risk
            rows.append((f"{week:02.0f}", arm, risk, failed))
    return pd.DataFrame(rows, columns=["week", "arm", "at_risk", "relapsed"])


def test_log_rank_of_the_remission_trial():
    """Freireich's trial [answer from memory]: log-rank chi-square 16.79, from at-risk counts and relapses."""
    table = at_risk_table().pivot(index="week", columns="arm", values=["at_risk", "relapsed"])
    n, d = table["at_risk"].sum(axis=1), table["relapsed"].sum(axis=1)
    share = table["at_risk"]["treated"] / n
    expected = float((d * share).sum())
    variance = float((d * share * (1 - share) * (n - d) / (n - 1).clip(lower=1)).sum())
    assert (table["relapsed"]["treated"].sum() - expected) ** 2 / variance == pytest.approx(16.79, abs=5.1e-3)


def test_regression_with_weeks_as_groups_is_the_proportional_hazards_fit():
    """The same trial: Cox regression with Breslow's ties prints 1.509 and 0.410 in standard software [from memory]."""
    frame = at_risk_table().query("at_risk > 0")
    fit = fit_poisson(
        design_matrix(frame, ["arm", "week"], baselines={"arm": "treated"}),
        frame["relapsed"].to_numpy(float),
        exposure=frame["at_risk"].to_numpy(float),
    )
    place = fit.names.index("arm=placebo")
    assert fit.coefficients[place] == pytest.approx(1.509, abs=5.1e-4)
    assert math.sqrt(fit.covariance[place, place]) == pytest.approx(0.410, abs=5.1e-4)


@pytest.mark.parametrize(("count", "exposure", "kind", "low", "high"), ORACLE["intervals"])
def test_intervals_of_a_general_library(count, exposure, kind, low, high):
    """statsmodels 0.15.0, confint_poisson with exact-c and midp-c."""
    found = (garwood_interval if kind == "exact" else midp_interval)(count, exposure, 0.90)
    assert found.high == pytest.approx(high, rel=1e-6)
    if count or kind == "exact":
        assert found.low == pytest.approx(low, rel=1e-6)
    else:
        assert found.low == 0.0  # without a failure the library's mid-P solver gives its high end for both


@pytest.mark.parametrize(("n1", "t1", "n0", "t0", "kind", "greater", "less"), ORACLE["pairs"])
def test_two_rates_of_a_general_library(n1, t1, n0, t0, kind, greater, less):
    """statsmodels 0.15.0, test_poisson_2indep with exact-cond and cond-midp, both sides."""
    found = compare_two_rates(n1, t1, n0, t0, method=kind)
    assert (found.p_greater, found.p_less) == pytest.approx((greater, less), rel=1e-8)


def test_negative_binomial_of_a_general_library():
    """statsmodels 0.15.0, NegativeBinomial with exposure on the ten pumps: the most likely law and its likelihood."""
    law, seen = ORACLE["pumps"], fit_gamma_prior(PUMP_FAILURES, PUMP_KILOHOURS)
    mean = seen.shape / seen.rate
    assert (seen.shape, mean) == pytest.approx((law["shape"], law["mean"]), rel=1e-4)
    likelihood = negative_binomial_log_likelihood(PUMP_FAILURES, PUMP_KILOHOURS, mean=mean, shape=seen.shape)
    assert likelihood == pytest.approx(law["log_likelihood"], rel=1e-8)


def test_poisson_regression_of_a_general_library():
    """statsmodels 0.15.0, GLM: coefficients, errors, and cluster errors (ours times G/(G-1) of ten clusters)."""
    given = ORACLE["regression"]
    fit = fit_poisson(
        np.array(given["matrix"]), given["counts"], exposure=given["years"], clusters=np.array(given["cluster"])
    )
    np.testing.assert_allclose(fit.coefficients, given["coefficients"], rtol=1e-7)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)), given["errors"], rtol=1e-6)
    robust = np.sqrt(np.diag(fit.robust_covariance) * 9 / 10)
    np.testing.assert_allclose(robust, given["cluster_errors_uncorrected"], rtol=1e-6)


@pytest.mark.parametrize(
    ("ratio", "expected", "power"), [(1.5, 50.0, 0.60), (2.0, 50.0, 0.98), (2.0, 10.0, 0.43), (3.0, 10.0, 0.90)]
)
def test_power_of_the_conditional_test(ratio, expected, power):
    """This project's methods brief, by simulation: mid-P at 5 %, 200 unit-years a side, base 0.25 and 0.05 a year."""
    assert chance_to_show(ratio, expected, expected, 0.95, interval="mid-p") == pytest.approx(power, abs=0.02)
