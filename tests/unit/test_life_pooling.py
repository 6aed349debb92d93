"""Groups that lean on each other: what the others predict, and that alike and unlike groups are told apart."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fleet.analysis.life_chosen import choose_lives
from fleet.analysis.life_data import lives_of
from fleet.analysis.life_fit import Prior
from fleet.analysis.life_groups import LifeQuestion, compare_b10, estimate_groups
from fleet.analysis.life_laws import LAWS, WEIBULL
from fleet.analysis.life_pooling import _given_spread, describe_pooled, pool_groups
from fleet.errors import AnalysisError
from tests.studies import life_study

CAP = "run capacitor"


def fleet_of(sizes, scales, *, seed=1):
    """Return rows as `read_lives` gives them of one fleet in groups, each with its own size and scale of life."""
    rng, frames = np.random.default_rng(seed), []
    for nth, (size, scale) in enumerate(zip(sizes, scales, strict=True)):
        # the study's fleet has a scale of nine years: other units of time make other scales
        frame = life_study.simulate_fleet(rng, size)
        factor = scale / life_study.SCALE
        years = ["at_most", "quiet", "watched", "found_since"]
        frame[years] = frame[years] * factor
        frame["unit_id"] += 10_000 * nth
        frame["by_group"], frame["component"] = f"g{nth}", CAP
        frames.append(frame)
    return pd.concat(frames, ignore_index=True)


def averaged(frame, **asked):
    groups = estimate_groups(frame, CAP, LifeQuestion(by=("group",), **asked))
    return [one.estimate.average for one in groups]


def width(average):
    limits = average.interval(0.1)
    return math.log(limits.high / limits.low)


def test_a_small_group_borrows_from_alike_ones():
    frame = fleet_of([400, 400, 30], [9.0, 9.0, 9.0])
    alone, leaning = (averaged(frame, pooling=p) for p in ("none", "partial"))
    assert width(leaning[2]) < 0.85 * width(alone[2])
    # a large group hardly moves
    assert math.log(leaning[0].quantile(0.1) / alone[0].quantile(0.1)) == pytest.approx(0, abs=0.5 * width(alone[0]))


def test_unlike_groups_are_not_drawn_together():
    scales = [3.0, 9.0, 27.0]
    for average, scale in zip(averaged(fleet_of([500, 500, 500], scales)), scales, strict=True):
        truth = scale * math.log(2.0) ** (1.0 / life_study.SHAPE)
        limits = average.interval(0.5)
        assert limits.low < truth < limits.high
        assert math.log(average.quantile(0.5) / truth) == pytest.approx(0, abs=0.06)  # chance in some 200 failures


def test_all_groups_share_the_laws_weights():
    groups = averaged(fleet_of([200, 200, 60], [9.0, 7.0, 9.0]))
    for average in groups[1:]:
        assert average.weights == pytest.approx(groups[0].weights)


def test_a_group_without_failures_takes_nothing_from_the_others_but_gets_its_bound():
    frame = fleet_of([300, 300, 40], [9.0, 9.0, 9.0])
    frame.loc[(frame["by_group"] == "g2") & (frame["ended"] == "failed"), "ended"] = "in service"
    groups = estimate_groups(frame, CAP, LifeQuestion(by=("group",)))
    none = groups[2].estimate
    assert (none.average, none.assumed) == (None, None)
    assert none.most_per_year == pytest.approx(stats.chi2.ppf(0.95, 2) / 2 / none.years)


def test_a_group_of_few_failures_leans_its_estimate_and_keeps_its_own_bounds():
    frame = fleet_of([400, 400, 4], [9.0, 9.0, 9.0], seed=4)
    groups = estimate_groups(frame, CAP, LifeQuestion(by=("group",)))
    few = groups[2].estimate
    assert 0 < few.failures < 5
    assert few.assumed.prior is groups[2].pooled["Weibull"]
    assert few.band_b10.low < few.assumed.quantile(0.1) < few.band_b10.high


def test_comparisons_are_of_the_same_groups_as_the_estimates():
    frame = fleet_of([150, 150], [9.0, 6.0])
    asked = LifeQuestion(by=("group",))
    ages = compare_b10(frame, CAP, asked)
    assert ages == pytest.approx([one.estimate.average.quantile(0.1) for one in estimate_groups(frame, CAP, asked)])


@pytest.mark.parametrize("pooling", ["partial", "none"])
def test_a_comparison_is_the_same_wherever_its_search_begins(pooling):
    frame = fleet_of([150, 150, 40], [9.0, 6.0, 12.0])
    asked = LifeQuestion(by=("group",), pooling=pooling)
    other = LifeQuestion(by=("group",), pooling=pooling, births="in the log")
    near = estimate_groups(frame, CAP, asked)
    assert compare_b10(frame, CAP, other, near) == pytest.approx(compare_b10(frame, CAP, other), rel=1e-6, nan_ok=True)


def test_priors_come_from_the_others_alone():
    # two groups, one large at 9 years and one large at 3: each one's prior lies at the other
    frame = fleet_of([600, 600], [9.0, 3.0])
    chosen = [choose_lives(lives_of(rows, like=frame)) for _, rows in frame.groupby("by_group")]
    first, second = (one.priors["Weibull"] for one in pool_groups(chosen, CAP))
    assert math.exp(first.log_scale) == pytest.approx(3.0, rel=0.1)
    assert math.exp(second.log_scale) == pytest.approx(9.0, rel=0.1)
    # two groups that far apart tell that groups differ: the prior is wide
    assert first.log_scale_sd > 0.5
    assert set(pool_groups(chosen, CAP)[0].priors) == {law.name for law in LAWS}


def test_one_group_has_no_others():
    frame = fleet_of([100, 100], [9.0, 9.0])
    chosen = [choose_lives(lives_of(rows)) for _, rows in frame.groupby("by_group")]
    assert pool_groups(chosen[:1], CAP) is None
    frame.loc[frame["by_group"] == "g1", "ended"] = "in service"
    chosen = [choose_lives(lives_of(rows)) for _, rows in frame.groupby("by_group")]
    assert pool_groups(chosen, CAP) is None


def test_evidence_and_predictions_are_those_of_normal_laws_worked_out_directly():
    # groups' best fits are then draws around the common mean: cover = own covariance + spread
    rng = np.random.default_rng(5)
    best = rng.normal(0, 1, (3, 2))
    cover = np.array([np.cov(rng.normal(0, 1, (2, 6))) * 0.3 for _ in range(3)])
    precision = np.linalg.inv(cover)
    pull = np.einsum("gij,gj->gi", precision, best)
    mean = Prior(log_scale=0.4, log_scale_sd=0.9, log_shape=-0.2, log_shape_sd=0.8, correlation=0.3)
    common = np.linalg.inv(mean.precision)

    def direct(spread):
        # all six numbers at once: each group's own cover and spread, and the common mean's uncertainty in all
        whole = np.kron(np.ones((3, 3)), common)
        for nth in range(3):
            whole[2 * nth : 2 * nth + 2, 2 * nth : 2 * nth + 2] += cover[nth] + spread
        return stats.multivariate_normal(np.tile(mean.center, 3), whole).logpdf(best.ravel())

    narrow, wide = np.diag([0.01, 0.04]), np.diag([0.5, 0.2])
    evidence, centers, covers = _given_spread(precision, pull, np.array([narrow, wide]), mean)
    assert evidence[1] - evidence[0] == pytest.approx(direct(wide) - direct(narrow), rel=1e-9)
    # the first group's prediction from the other two, by updating the common mean with them one after the other
    center, doubt = mean.center, common
    for nth in (1, 2):
        gain = doubt @ np.linalg.inv(doubt + cover[nth] + wide)
        center, doubt = center + gain @ (best[nth] - center), doubt - gain @ doubt
    assert centers[1][0] == pytest.approx(center)
    assert covers[1][0] == pytest.approx(doubt + wide)


def test_a_pooled_prior_is_described_in_words():
    prior = Prior(log_scale=math.log(9.0), log_scale_sd=0.1, log_shape=math.log(2.2), log_shape_sd=0.1)
    said = describe_pooled(prior)
    median = WEIBULL.quantile(prior.center, 0.5)
    assert said.startswith("from the component's other groups: Weibull shape about 2.2 (1.8 to 2.7), median life about")
    assert f"about {median:.2g} years" in said


def test_a_word_for_pooling_that_is_not_known_is_named():
    with pytest.raises(AnalysisError, match="pooling = 'full' is not known; choose one of partial, none"):
        LifeQuestion(pooling="full")
