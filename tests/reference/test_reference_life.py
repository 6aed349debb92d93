"""Lives of parts against published fits, printed product-limit tables and independent implementations.

Each source is named at its check. "Read" means that the page or file with the answer was read; "[from memory]" marks a
printed answer remembered, not re-read. Printed digits are the only tolerance unless a comment says otherwise.
"""

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from fleet.analysis.life_compare import _component_rows
from fleet.analysis.life_few import assume_shape
from fleet.analysis.life_fit import KnownLives, fit_law, likelihood_region, starting_point
from fleet.analysis.life_groups import LifeQuestion
from fleet.analysis.life_laws import LAWS, LOG_LOGISTIC, LOGNORMAL, WEIBULL
from fleet.analysis.life_sample import life_sample
from fleet.analysis.poisson import upper_bound_for_zero
from fleet.analysis.product_limit import product_limit
from tests.reference.data import public_lives
from tests.reference.data.public_lives import (
    ABSORBERS_FAILED,
    ABSORBERS_RUNNING,
    BALL_BEARINGS,
    CHANNING_MEN,
    CRACK_MONTHS,
    CRACKED,
    NIST_FAILED,
    PLACEBO,
    REMISSION,
    WHEEL_HOURS,
    WHEELS_CRACKED,
    WHEELS_SOUND,
    split_marks,
)

INF = math.inf
STORED = json.loads((Path(__file__).parent / "data" / "stored_lives.json").read_text(encoding="utf-8"))
SCIPY = {
    WEIBULL: lambda scale, shape: stats.weibull_min(shape, scale=scale),
    LOGNORMAL: lambda scale, shape: stats.lognorm(1.0 / shape, scale=scale),
    LOG_LOGISTIC: lambda scale, shape: stats.fisk(shape, scale=scale),
}


def fitted(law, entry, low, high):
    sample = life_sample(entry, low, high)
    known = KnownLives.of(sample)
    fit = fit_law(law, known, starting_point(law, sample.failures, sample.years))
    assert fit.trouble == ""
    return fit, known


def with_running(failed, running):
    return 0.0, [*failed, *running], [*failed, *[INF] * len(running)]


def channing_men():
    entry, leave, died = (np.array(column) for column in public_lives.channing_men())
    assert (len(CHANNING_MEN.split()), died.sum()) == (97, 46)
    return entry, leave, died


def remission():
    return split_marks(REMISSION)


def test_weibull_of_the_nist_handbook():
    # NIST/SEMATECH e-Handbook 8.4.1.3, read: ten failures, ten units censored at 500 h
    fit, _ = fitted(WEIBULL, *with_running(NIST_FAILED, [500] * 10))
    assert fit.scale == pytest.approx(606.5280, abs=6e-4)  # the handbook's optimizer stopped in the fourth decimal
    assert fit.shape == pytest.approx(1.7208, abs=5e-5)
    assert fit.log_likelihood == pytest.approx(-75.135, abs=5e-4)
    assert fit.aic == pytest.approx(154.27, abs=5e-3)
    law = SCIPY[WEIBULL](fit.scale, fit.shape)
    assert law.mean() == pytest.approx(540.737, abs=6e-4)
    assert law.std() == pytest.approx(323.806, abs=6e-4)


def test_lognormal_of_the_nist_handbook():
    fit, _ = fitted(LOGNORMAL, *with_running(NIST_FAILED, [500] * 10))
    assert fit.aic == pytest.approx(154.39, abs=5e-3)  # same page, read


def test_cracks_found_between_looks():
    # the R package survival's test output r_sas.Rout.save, read; its days are the months times 365.25/12, rounded
    days = [float(round(month * 365.25 / 12)) for month in CRACK_MONTHS]
    low = np.repeat([0.0, *days], [*CRACKED, 73])
    high = np.repeat([*days, INF], [*CRACKED, 73])
    fit, known = fitted(WEIBULL, 0.0, low, high)
    assert fit.theta[0] == pytest.approx(7.6880, abs=5e-5)
    assert -fit.theta[1] == pytest.approx(-0.3953, abs=5e-5)
    assert np.sqrt(fit.covariance.diagonal()) == pytest.approx([0.0744, 0.0987], abs=5e-5)
    assert known.value(WEIBULL, fit.theta) == pytest.approx(-309.6, abs=0.05)
    printed = {0.01: 98.47183, 0.1: 479.31737, 0.3: 1089.70373, 0.5: 1704.71015, 0.8: 3006.43572}
    for share, age in printed.items():
        assert fit.quantile(share) == pytest.approx(age, rel=1e-6)  # the printed fit stopped at its eighth digit


def test_cracks_in_months():
    low = np.repeat([0.0, *CRACK_MONTHS], [*CRACKED, 73])
    high = np.repeat([*CRACK_MONTHS, INF], [*CRACKED, 73])
    fit, _ = fitted(WEIBULL, 0.0, low, high)
    assert (fit.scale, fit.shape) == pytest.approx((71.6904, 1.4854), abs=5e-5)  # that manual's table [from memory]


def test_wheels_looked_at_once():
    # left- and right-censored lives only; r_sas.Rout.save, read
    cracked = np.repeat(WHEEL_HOURS, WHEELS_CRACKED).astype(float)
    sound = np.repeat(WHEEL_HOURS, WHEELS_SOUND).astype(float)
    assert cracked.size + sound.size == 432
    low, high = np.append(0.0 * cracked, sound), np.append(cracked, np.full(sound.size, INF))
    fit, _ = fitted(LOGNORMAL, 0.0, low, high)
    assert fit.theta[0] == pytest.approx(3.6999, abs=5e-5)
    assert -fit.theta[1] == pytest.approx(-0.3287, abs=5e-5)
    assert np.sqrt(fit.covariance.diagonal()) == pytest.approx([0.0708, 0.1232], abs=5e-5)
    assert fit.log_likelihood == pytest.approx(-190.7, abs=0.05)


def test_shock_absorbers_multiply_censored():
    # Meeker and Escobar, Statistical Methods for Reliability Data (1998), table C.2; estimates [from memory]
    fit, _ = fitted(WEIBULL, *with_running(ABSORBERS_FAILED, ABSORBERS_RUNNING))
    assert fit.theta[0] == pytest.approx(10.23, abs=5e-3)
    assert 1.0 / fit.shape == pytest.approx(0.3164, abs=5e-5)


def test_ball_bearings_complete():
    # the same book; estimates [from memory: 2.10, 81.88], the digits below computed independently
    fit, _ = fitted(WEIBULL, 0.0, BALL_BEARINGS, BALL_BEARINGS)
    assert fit.shape == pytest.approx(2.10185, abs=5e-6)
    assert fit.scale == pytest.approx(81.8746, abs=5e-5)
    assert fit.log_likelihood == pytest.approx(-113.691, abs=1e-3)  # printed cut, not rounded


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_scipy_fits_the_same_without_entry_ages(law):
    data = stats.CensoredData(uncensored=ABSORBERS_FAILED, right=ABSORBERS_RUNNING)
    shape, _, scale = {WEIBULL: stats.weibull_min, LOGNORMAL: stats.lognorm, LOG_LOGISTIC: stats.fisk}[law].fit(
        data, floc=0
    )
    fit, _ = fitted(law, *with_running(ABSORBERS_FAILED, ABSORBERS_RUNNING))
    assert fit.scale == pytest.approx(scale, rel=1e-4)  # scipy's simplex search stops there
    assert fit.shape == pytest.approx(1 / shape if law is LOGNORMAL else shape, rel=1e-4)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_left_truncated_lives_as_a_general_optimizer_fits_them(law):
    entry, leave, died = channing_men()

    def lost(theta):
        made = SCIPY[law](math.exp(theta[0]), math.exp(theta[1]))
        return -(made.logpdf(leave[died]).sum() + made.logsf(leave[~died]).sum() - made.logsf(entry).sum())

    fit, known = fitted(law, entry, leave, np.where(died, leave, INF))
    best = optimize.minimize(lost, fit.theta + 0.05, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9})
    assert fit.theta == pytest.approx(best.x, abs=2e-5)
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-6)
    assert known.value(law, fit.theta) >= -best.fun - 1e-8


def in_data_set(name):
    if name == "channing men":
        entry, leave, died = channing_men()
        return entry, leave, np.where(died, leave, INF)
    if name == "shock absorbers":
        return with_running(ABSORBERS_FAILED, ABSORBERS_RUNNING)
    return 0.0, np.repeat([0.0, *CRACK_MONTHS], [*CRACKED, 73]), np.repeat([*CRACK_MONTHS, INF], [*CRACKED, 73])


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
@pytest.mark.parametrize("name", ["channing men", "shock absorbers", "cracked parts"])
def test_a_general_library_fits_the_same(name, law):
    # late entries, right-censored lives and failures between looks, as lifelines 0.30.0 fits them
    stored = STORED[name][law.name]
    fit, _ = fitted(law, *in_data_set(name))
    assert fit.log_likelihood == pytest.approx(stored["log_likelihood"], abs=2e-6)
    assert (fit.scale, fit.shape) == pytest.approx((stored["scale"], stored["shape"]), rel=2e-4)
    assert fit.quantile(0.1) == pytest.approx(stored["b10"], rel=2e-4)
    assert fit.quantile(0.5) == pytest.approx(stored["median"], rel=2e-4)


def remission_rows():
    """Return both groups of children as rows of lives; a gap in the log or a unit's age plays no part in them."""
    frames = []
    for group, weeks in {"treated": REMISSION, "placebo": PLACEBO}.items():
        watched, ended = split_marks(weeks)
        words = ["failed" if one else "in service" for one in ended]
        frames.append(pd.DataFrame({"watched": watched, "ended": words, "by_group": group}))
    rows = pd.concat(frames, ignore_index=True)
    blank = {"at_most": math.nan, "quiet": 0.0, "found_since": math.nan, "unit_went": False}
    return rows.assign(unit_id=np.arange(len(rows)), birth="known", entry_age=0.0, **blank)


def test_two_groups_are_compared_as_a_general_library_does():
    # Weibull regression on log time; the coefficient 1.267, the hazard ratio exp(-1.731) and the likelihood ratio 19.65
    # also stand in "Survival Analysis: A Self-Learning Text", chapter 7 [from memory]
    stored = STORED["remission"]
    asked = LifeQuestion(by=("group",), level=0.95, pooling="none")
    row = next(r for r in _component_rows(remission_rows(), "part", asked, "placebo") if r["group"] == "treated")
    assert math.log(row["ratio"]) == pytest.approx(stored["log_ratio"], abs=1e-5)
    assert math.log(row["ratio"]) == pytest.approx(1.267, abs=5e-4)
    assert math.log(row["ratio"]) * math.exp(stored["log_shape"]) == pytest.approx(1.731, abs=5e-4)
    gain = 2.0 * (stored["log_likelihood"] - stored["log_likelihood_together"])
    assert gain == pytest.approx(19.65, abs=5e-3)
    assert row["p_value"] == pytest.approx(stats.chi2.sf(gain, 1), rel=1e-4)
    assert row["p_groups"] == pytest.approx(row["p_value"], rel=1e-4)
    alike = 2.0 * (stored["log_likelihood_apart"] - stored["log_likelihood"])
    assert row["p_shapes"] == pytest.approx(stats.chi2.sf(alike, 1), abs=1e-3)
    # the likelihood's limits are near those by the library's standard error, a little wider upwards
    wald = [stored["log_ratio"] + way * 1.959964 * stored["log_ratio_se"] for way in (-1.0, 1.0)]
    assert [math.log(row["ratio_low"]), math.log(row["ratio_high"])] == pytest.approx(wald, abs=0.12)


def test_limits_of_a_ratio_are_those_of_a_general_optimizer():
    # the profile likelihood of the remission data solved directly, by scipy alone
    sides = [split_marks(weeks) for weeks in (REMISSION, PLACEBO)]

    def lost(at, theta):
        total = 0.0
        for (weeks, ended), shift in zip(sides, (at, 0.0), strict=True):
            law, when, done = SCIPY[WEIBULL](math.exp(theta[0] + shift), math.exp(theta[1])), np.array(weeks), ended
            total -= law.logpdf(when[done]).sum() + law.logsf(when[~np.array(done)]).sum()
        return total

    def profile(at):
        return optimize.minimize(lambda theta: lost(at, theta), [2.2, 0.3], method="Nelder-Mead", tol=1e-9).fun

    best = STORED["remission"]["log_ratio"]
    asked = LifeQuestion(by=("group",), level=0.95, pooling="none")
    row = next(r for r in _component_rows(remission_rows(), "part", asked, "placebo") if r["group"] == "treated")
    for bound in (row["ratio_low"], row["ratio_high"]):
        fallen = 2.0 * (profile(math.log(bound)) - profile(best))
        assert fallen == pytest.approx(stats.chi2.ppf(0.95, 1), rel=2e-3)  # the search stops within a thousandth


def test_ignoring_entry_ages_reads_lives_too_long():
    entry, leave, died = channing_men()
    with_entry, _ = fitted(WEIBULL, entry, leave, np.where(died, leave, INF))
    without, _ = fitted(WEIBULL, 0.0, leave, np.where(died, leave, INF))
    assert without.quantile(0.1) > 1.02 * with_entry.quantile(0.1)


@pytest.mark.parametrize("share", [0.1, 0.5])
def test_likelihood_ratio_limits_are_the_profile_ones(share):
    # the profile likelihood solved directly: maximize over the shape at a fixed age, find where it has fallen enough
    fit, known = fitted(WEIBULL, *with_running(NIST_FAILED, [500] * 10))
    z = WEIBULL.standard_quantile(share)

    def fallen(log_age):
        best = optimize.minimize_scalar(
            lambda k: -known.value(WEIBULL, np.array([log_age - z * math.exp(-k), k])),
            bounds=(-2, 3), method="bounded", options={"xatol": 1e-10},
        )  # fmt: skip
        return 2 * (fit.log_likelihood + best.fun) - stats.chi2.ppf(0.9, 1)

    limits = likelihood_region(fit, known, 0.9).quantile(share)
    middle = math.log(fit.quantile(share))
    low = math.exp(optimize.brentq(fallen, middle - 3, middle))
    high = math.exp(optimize.brentq(fallen, middle, middle + 3))
    assert (limits.low, limits.high) == pytest.approx((low, high), rel=1e-3)  # the border is traced to 3 in 10,000


def test_product_limit_of_the_remission_times():
    # Cox and Oakes (1984), table 4.1, and Survival Analysis: Techniques for Censored and Truncated Data (2nd ed. 2003),
    # table 4.1B [from memory; read as quoted in a public package's tests]; log-log limits: R's survfit, read there
    times, ended = remission()
    curve = product_limit(0.0, times, ended, level=0.95, fewest=1)
    assert curve.ages.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert curve.at_risk.tolist() == [21, 17, 15, 12, 11, 7, 6]
    assert curve.survival == pytest.approx([0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482], abs=5e-5)
    assert curve.sd == pytest.approx([0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346], abs=5e-5)
    low = [0.6197180, 0.5631466, 0.5031995, 0.4316102, 0.3675109, 0.2677789, 0.1880520]
    high = [0.9515517, 0.9228090, 0.8893618, 0.8490660, 0.8049122, 0.7467907, 0.6801426]
    assert curve.low == pytest.approx(low, abs=5e-8)
    assert curve.high == pytest.approx(high, abs=5e-8)


def test_product_limit_as_scipy_computes_it():
    times, ended = remission()
    running = [t for t, e in zip(times, ended, strict=True) if not e]
    failed = [t for t, e in zip(times, ended, strict=True) if e]
    found = stats.ecdf(stats.CensoredData(uncensored=failed, right=running)).sf
    curve = product_limit(0.0, times, ended, fewest=1)
    assert curve.survival == pytest.approx(found.evaluate(curve.ages), rel=1e-12)


def test_product_limit_walk_through():
    # NIST/SEMATECH e-Handbook 8.2.1.5 [from memory]: 20 units to 200 h, four removed on the way
    failed, removed = [10, 32, 56, 98, 122, 181], [50, 100, 125, 150, *[200] * 10]
    curve = product_limit(0.0, failed + removed, [True] * 6 + [False] * 14, fewest=1)
    assert curve.survival == pytest.approx([0.95, 0.90, 0.85, 0.79, 0.74, 0.67], abs=5e-3)


def test_product_limit_with_entry_ages_begins_where_enough_are_at_risk():
    # Without that rule the men's curve is nought before most came (Survival Analysis: Techniques for Censored and
    # Truncated Data, 2nd ed. 2003, example 4.3 [from memory]; the same said of these data in a public
    # package's documentation, read)
    entry, leave, died = channing_men()
    naive = product_limit(entry, leave, died, fewest=1)
    assert naive.survival[1] == 0.0
    curve = product_limit(entry, leave, died)
    assert 781 < curve.starts_at < 870
    assert 0.05 < curve.survival[-1] < 0.3
    by_hand = 1.0
    for age, share in zip(curve.ages, curve.survival, strict=True):
        at_risk = sum(1 for e, x in zip(entry, leave, strict=True) if e < age <= x)
        dead = sum(1 for x, d in zip(leave, died, strict=True) if d and x == age)
        by_hand *= 1 - dead / at_risk
        assert share == pytest.approx(by_hand, rel=1e-12)


# NIST/SEMATECH e-Handbook 8.4.5.1, factors on the mean life at 90 % (formula read, table [from memory])
@pytest.mark.parametrize(
    ("failures", "low", "high"),
    [(1, 0.2108, 19.4957), (2, 0.3177, 5.6281), (3, 0.3869, 3.6689), (5, 0.4756, 2.5379), (10, 0.5895, 1.8432)],
)
def test_bounds_with_a_steady_rate_are_the_nist_factors(failures, low, high):
    running = [100.0] * 8
    failed = [100.0] * failures
    found = assume_shape(life_sample(*with_running(failed, running)), 1.0, 0.9)
    # the last digit of the table's greatest factor may be off by one
    assert found.low / found.scale == pytest.approx(low, abs=5.1e-5)
    assert found.high / found.scale == pytest.approx(high, abs=1.1e-4)


# Exact Poisson limits on a count at 95 % (Garwood; as used in national vital-statistics technical notes [from memory])
@pytest.mark.parametrize(("failures", "upper"), [(0, 3.6889), (1, 5.5716), (2, 7.2247), (3, 8.7673), (4, 10.2416)])
def test_bounds_of_the_first_five_counts_are_the_exact_poisson_ones(failures, upper):
    running, failed = [250.0] * (4 - min(failures, 4)), [250.0] * failures
    found = assume_shape(life_sample(*with_running(failed, running)), 1.0, 0.95)
    assert 1000.0 / found.low == pytest.approx(upper, abs=5e-5)
    # any other shape is the same bound on ages raised to that power
    scale = 1000.0 ** (1 / 2.2)
    ages = np.full(4, (250.0) ** (1 / 2.2))
    powered = assume_shape(life_sample(0.0, ages, np.where(np.arange(4) < failures, ages, INF)), 2.2, 0.95)
    assert (scale / powered.low) ** 2.2 == pytest.approx(upper, abs=5e-5)


def test_the_nist_example_of_two_failures():
    # 2 failures in 800 h: between 127 and 2251 h at 90 % [from memory]
    found = assume_shape(life_sample(0.0, [400.0, 400.0], [400.0, 400.0]), 1.0, 0.9)
    assert (found.scale, found.low, found.high) == pytest.approx((400, 127, 2251), abs=0.5)


def test_no_failure_gives_the_exact_one_sided_bound():
    # mean life at least T / -ln(1 - confidence): factor 0.3338 at 95 % (NIST 8.4.5.1, formula read)
    found = assume_shape(life_sample(0.0, [250.0] * 4, [INF] * 4), 1.0, 0.9)
    assert found.low == pytest.approx(0.3338 * 1000, abs=0.05)
    assert math.isinf(found.high)
    assert 1 / upper_bound_for_zero(1000.0, 0.95) == pytest.approx(found.low, rel=1e-12)
