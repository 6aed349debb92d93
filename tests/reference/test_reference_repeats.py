"""What comes back and what fails together: exact shares, sampling plans, leak rates and unfinished waits as published.

Each check names its source; "[from memory]" marks numbers remembered rather than read again, "read" those read in the
source or a secondary page while this was written. Invented data is only the carrier of the published numbers.
"""

import datetime as dt

import numpy as np
import pytest
from scipy import stats

from fleet.analysis.new_parts import more_bad_midp
from fleet.analysis.poisson import clopper_pearson
from fleet.analysis.sampling_plans import sample_needed
from fleet.analysis.wait_curve import summarise_waits
from fleet.trade.refrigerant import (
    COMFORT_COOLING_PCT,
    OZONE_RULE_LB,
    REFRIGERANTS,
    ROLLING_DAYS,
    SUBSTITUTE_RULE_LB,
    Addition,
    annualized_leak_pct,
    ounces,
    rolling_leak_pct,
    rule_standing,
)

# Exact limits of a share ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bad", "n", "level", "low", "high"),
    [
        # NIST/SEMATECH e-Handbook 7.2.4.1: 4 bad of 20, two-sided 90 % [from memory]
        (4, 20, 0.90, 0.071354, 0.401029),
        # printed 95 % limits of a binomial share (tables of exact limits, e.g. Documenta Geigy) [from memory]
        (0, 10, 0.95, 0.0, 0.3085),
        (1, 10, 0.95, 0.0025, 0.4450),
        (5, 10, 0.95, 0.1871, 0.8129),
        (0, 20, 0.95, 0.0, 0.1684),
        (1, 20, 0.95, 0.0013, 0.2487),
        (2, 50, 0.95, 0.0049, 0.1371),
    ],
)
def test_exact_limits_of_a_share(bad, n, level, low, high):
    found = clopper_pearson(bad, n, level)
    assert (found.low, found.high) == (pytest.approx(low, abs=6e-5), pytest.approx(high, abs=6e-5))


def test_none_bad_of_thirty():
    """A reliability primer, quoted on a page of statistics (read): 30 without a failure show 92.6 % at 90 %.

    One-sided 90 % is the upper end of a two-sided 80 % interval.
    """
    assert 1 - clopper_pearson(0, 30, 0.80).high == pytest.approx(0.926, abs=5e-4)


@pytest.mark.parametrize("n", [50, 100, 300, 1000])
def test_rule_of_three(n):
    """With none bad of n the one-sided 95 % limit is about 3/n (the "rule of three", JAMA 249, 1983) [from memory]."""
    assert clopper_pearson(0, n, 0.90).high == pytest.approx(3.0 / n, rel=0.04)


# How many to test -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("share", "bad", "level", "n"),
    [
        # S. S. Wilks, Annals of Mathematical Statistics 12 (1941), for 95/95 tolerance limits: the largest, second and
        # third largest of 59, 93, 124 [from memory]
        (0.05, 0, 0.95, 59),
        (0.05, 1, 0.95, 93),
        (0.05, 2, 0.95, 124),
        # success-run table of reliability texts: 90 % at 90 %, 95 % at 90 %, 90 % at 95 %, 99 % at 95 % [from memory]
        (0.10, 0, 0.90, 22),
        (0.05, 0, 0.90, 45),
        (0.10, 0, 0.95, 29),
        (0.01, 0, 0.95, 299),
        # worked example in the documentation of an open reliability library (read): 99.9 % at 95 % asks for 2995
        (0.001, 0, 0.95, 2995),
        # attribute plans for 90 % at 90 % with one and two failures allowed [from memory]
        (0.10, 1, 0.90, 38),
        (0.10, 2, 0.90, 52),
    ],
)
def test_published_sample_sizes(share, bad, level, n):
    assert sample_needed(share, bad=bad, level=level) == n


def test_a_lot_as_bad_as_the_limit_passes_as_seldom_as_the_level_says():
    """Computed with the standard binomial law: the plan's own promise, and that one test fewer would break it."""
    n = sample_needed(0.05, bad=1, level=0.90)
    assert stats.binom.cdf(1, n, 0.05) <= 0.10 < stats.binom.cdf(1, n - 1, 0.05)


def test_tea_tasting():
    """R. A. Fisher, The Design of Experiments (1935), eight cups: all four right has one chance in 70, three 17 in 70.

    The mid-P value counts half of the outcome seen; the least it could be is half of 1 in 70.
    """
    p_value, least = more_bad_midp(4, 4, 0, 4)
    assert p_value == least == pytest.approx(0.5 / 70)
    assert more_bad_midp(3, 4, 1, 4)[0] == pytest.approx((1 + 0.5 * 16) / 70)


# Refrigerant ------------------------------------------------------------------------------------------------------

TODAY = dt.date(2026, 6, 1)


def added(*days_and_pounds):
    return [Addition(TODAY - dt.timedelta(days=days), ounces(pounds)) for days, pounds in days_and_pounds]


def test_leak_rate_by_both_formulas():
    """40 CFR 82.152 (definition of leak rate, paraphrased in secondary pages), worked by hand.

    10 lb of charge, half a pound 73 days before a pound and a half: (1.5 / 10) x (365 / 73) = 75 % a year by the first
    formula, (0.5 + 1.5) / 10 = 20 % by the second.
    """
    record = added((73, 0.5), (0, 1.5))
    assert annualized_leak_pct(record, ounces(10)) == pytest.approx(75.0, rel=1e-12)
    assert rolling_leak_pct(record, ounces(10), as_of=TODAY) == pytest.approx(20.0, rel=1e-12)


@pytest.mark.parametrize("days", [365, 400, 2000])
def test_days_since_the_last_addition_count_as_365_at_most(days):
    """The same definition: "365 or the days since the last addition, whichever is less": 1.5 of 10 lb is 15 %."""
    assert annualized_leak_pct(added((days, 0.5), (0, 1.5)), ounces(10)) == pytest.approx(15.0, rel=1e-12)
    unseen = annualized_leak_pct(added((0, 1.5)), ounces(10), watched_from=TODAY - dt.timedelta(days=days))
    assert unseen == pytest.approx(15.0, rel=1e-12)


def test_rolling_formula_begins_again_after_a_passed_verification():
    """The same definition: the last 365 days, or since the last successful follow-up verification if that is less."""
    record = added((200, 2.0), (50, 1.0))
    assert rolling_leak_pct(record, ounces(10), as_of=TODAY) == pytest.approx(30.0, rel=1e-12)
    verified = TODAY - dt.timedelta(days=100)
    assert rolling_leak_pct(record, ounces(10), as_of=TODAY, verified_on=verified) == pytest.approx(10.0, rel=1e-12)


def test_thresholds_of_the_rules():
    """40 CFR 82.157 and 84.106 as secondary pages give them (read): 50 lb, 15 lb and above 53, 10 % comfort cooling."""
    assert (OZONE_RULE_LB, SUBSTITUTE_RULE_LB, COMFORT_COOLING_PCT, ROLLING_DAYS) == (50.0, 15.0, 10.0, 365)
    for name in ("R-22", "R-410A", "R-32", "R-454B"):
        # 4 to 15 lb is the usual charge of a split system [from memory]: under either rule's size
        assert rule_standing(REFRIGERANTS[name], ounces(14.9)) == "below"
    assert rule_standing(REFRIGERANTS["R-22"], ounces(50)) == "may apply"
    assert rule_standing(REFRIGERANTS["R-454B"], ounces(15)) == "may apply"


@pytest.mark.parametrize(
    ("name", "safety_class", "warming"),
    [("R-22", "A1", 1810), ("R-410A", "A1", 2088), ("R-407C", "A1", 1774), ("R-134a", "A1", 1430), ("R-32", "A2L", 675),
     ("R-454B", "A2L", 466), ("R-452B", "A2L", 698), ("R-290", "A3", 3.3)],
)  # fmt: skip
def test_classes_and_warming_potentials(name, safety_class, warming):
    """ASHRAE Standard 34 classes and Fourth Assessment Report potentials, as trade pages print them (read).

    R-454B is printed as 465 or 466; the difference decides nothing here. R-290's potential is from memory.
    """
    known = REFRIGERANTS[name]
    assert (known.safety_class, known.flammable) == (safety_class, safety_class != "A1")
    assert known.warming_potential == pytest.approx(warming, abs=1.5)


# Waits without an end ---------------------------------------------------------------------------------------------

SIX_MP = ([6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35],
          [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0])  # fmt: skip
"""Weeks in remission, 1 = ended (Freireich and others, Blood 21, 1963; printed in many texts, read)."""

PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]

MAINTAINED = ([9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161], [1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0])
NOT_MAINTAINED = ([5, 5, 8, 8, 12, 16, 23, 27, 30, 33, 43, 45], [1, 1, 1, 1, 1, 0, 1, 1, 1, 1, 1, 1])
"""Weeks in remission with and without maintenance (R. G. Miller, Survival Analysis, 1981, p. 49) [from memory]."""


def summary(hours, done, cap):
    return summarise_waits(hours, np.asarray(done, dtype=bool), cap=cap, level=0.95)


def test_medians_with_log_log_limits():
    """Medians and 95 % log-log limits that statistics packages print for the 6-MP trial [from memory].

    6-MP 23 weeks (13 to not reached), placebo 8 weeks (4 to 11).
    """
    drug, placebo = summary(*SIX_MP, cap=35.0), summary(PLACEBO, [1] * 21, cap=35.0)
    assert (drug.median, drug.low) == (23.0, 13.0)
    assert np.isnan(drug.high)
    assert (placebo.median, placebo.low, placebo.high) == (8.0, 4.0, 11.0)


def test_restricted_means():
    """Restricted means and standard errors R's survival package prints for these data, to 161 weeks [from memory].

    Maintained 52.6 (19.83), not maintained 22.7 (4.18); medians 31 and 23.
    """
    kept, other = summary(*MAINTAINED, cap=161.0), summary(*NOT_MAINTAINED, cap=161.0)
    assert (kept.mean, kept.mean_sd) == (pytest.approx(52.6, abs=0.05), pytest.approx(19.83, abs=5e-3))
    assert (other.mean, other.mean_sd) == (pytest.approx(22.7, abs=0.05), pytest.approx(4.18, abs=5e-3))
    assert (kept.median, other.median) == (31.0, 23.0)


def test_waits_that_all_ended_are_plain_means():
    """Without an open wait the area under the curve is the arithmetic mean (elementary)."""
    found = summary(PLACEBO, [1] * 21, cap=100.0)
    assert found.mean == pytest.approx(np.mean(PLACEBO))
    assert found.mean_sd == pytest.approx(np.std(PLACEBO) / np.sqrt(21))
