"""Poisson regression: a general-purpose optimizer beside it, known truths, and what it refuses."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from fleet.analysis.poisson import sandwich_interval
from fleet.analysis.poisson_regression import design_matrix, fit_poisson
from fleet.errors import AnalysisError

CELLS = pd.DataFrame(
    {
        "type": ["scroll", "scroll", "rotary", "rotary", "scroll", None],
        "building": ["A", "B", "A", "B", "C", "C"],
        "age_years": [1.0, 5.0, 3.0, 9.0, 2.0, 4.0],
    }
)


def simulated(seed, rows):
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame(
        {"a": rng.choice(list("pqrs"), rows), "b": rng.integers(0, 3, rows).astype(str), "x": rng.normal(size=rows)}
    )
    design = design_matrix(frame, ["a", "b"], ["x"])
    truth = np.concatenate([[-1.0], rng.normal(0, 0.5, len(design.names) - 1)])
    exposure = rng.uniform(0.2, 6.0, rows)
    return design, truth, exposure, rng.poisson(np.exp(design.matrix @ truth) * exposure), rng


def test_design_has_an_intercept_dummies_and_numbers():
    design = design_matrix(CELLS, ["type", "building"], ["age_years"])
    assert design.names == (
        "intercept", "type=rotary", "type=unknown", "building=B", "building=C", "age_years",
    )  # fmt: skip
    assert dict(design.baselines) == {"type": "scroll", "building": "A"}
    np.testing.assert_array_equal(design.matrix[5], [1, 0, 1, 0, 1, 4.0])
    np.testing.assert_array_equal(design.matrix[0], [1, 0, 0, 0, 0, 1.0])


def test_baseline_is_the_commonest_level_or_the_one_asked_for():
    assert design_matrix(CELLS, ["building"], baselines={"building": "C"}).names[1:] == ("building=A", "building=B")
    with pytest.raises(AnalysisError, match="baseline 'Z' isn't a level of building; it has A, B, C"):
        design_matrix(CELLS, ["building"], baselines={"building": "Z"})


def test_a_column_of_one_level_adds_no_effect():
    assert design_matrix(pd.DataFrame({"g": ["a", "a"]}), ["g"]).names == ("intercept",)


def test_design_refuses_what_is_not_there():
    with pytest.raises(AnalysisError, match="no column color to put into the regression"):
        design_matrix(CELLS, ["color"])
    with pytest.raises(AnalysisError, match="column age_years: 1 values blank"):
        design_matrix(CELLS.assign(age_years=[1, 2, None, 4, 5, 6]), [], ["age_years"])


def test_two_groups_give_the_crude_ratio_and_its_textbook_error():
    frame = pd.DataFrame({"g": ["base", "other"]})
    fit = fit_poisson(design_matrix(frame, ["g"]), [12, 30], exposure=[100.0, 90.0])
    assert fit.ratio("g=other") == pytest.approx((30 / 90) / (12 / 100), rel=1e-9)
    interval = fit.ratio_interval("g=other", 0.90)
    step = stats.norm.ppf(0.95) * math.sqrt(1 / 12 + 1 / 30)
    assert interval.high / fit.ratio("g=other") == pytest.approx(math.exp(step), rel=1e-9)
    assert fit.deviance == pytest.approx(0.0, abs=1e-9)
    assert fit.converged


@pytest.mark.parametrize("prior_sd", [None, 0.4])
def test_same_answer_as_a_general_optimizer(prior_sd):
    design, _, exposure, counts, _ = simulated(1, 300)
    sd = np.array([np.inf] + [prior_sd or np.inf] * (len(design.names) - 1))

    def loss(beta):
        eta = design.matrix @ beta + np.log(exposure)
        return np.exp(eta).sum() - counts @ eta + 0.5 * ((beta / sd) ** 2).sum()

    best = optimize.minimize(loss, np.zeros(sd.size), method="BFGS", options={"gtol": 1e-7})
    fit = fit_poisson(design, counts, exposure=exposure, prior_sd=prior_sd)
    np.testing.assert_allclose(fit.coefficients, best.x, atol=1e-5)
    assert fit.converged
    mean = np.exp(design.matrix @ fit.coefficients) * exposure
    assert fit.log_likelihood == pytest.approx(stats.poisson.logpmf(counts, mean).sum(), rel=1e-9)
    saturated = stats.poisson.logpmf(counts, np.maximum(counts, 1e-300)).sum()
    assert fit.deviance == pytest.approx(2 * (saturated - fit.log_likelihood), rel=1e-9)


def test_covariance_is_the_inverse_curvature():
    design, _, exposure, counts, _ = simulated(2, 200)
    fit = fit_poisson(design, counts, exposure=exposure, prior_sd=1.0)
    mean = np.exp(design.matrix @ fit.coefficients) * exposure
    curvature = (design.matrix.T * mean) @ design.matrix + np.diag([0.0] + [1.0] * (len(design.names) - 1))
    np.testing.assert_allclose(fit.covariance, np.linalg.inv(curvature), rtol=1e-8)


def test_truth_lies_in_its_intervals_nine_times_in_ten():
    """Simulated, seeds 100 to 199: 100 data sets of 400 rows, five slopes each."""
    covered = []
    for seed in range(100, 200):
        design, truth, exposure, counts, _ = simulated(seed, 400)
        fit = fit_poisson(design, counts, exposure=exposure)
        step = stats.norm.ppf(0.95) * np.sqrt(np.diag(fit.covariance))
        covered.append((np.abs(fit.coefficients - truth) <= step).mean())
    assert 0.87 <= np.mean(covered) <= 0.93


def test_offset_is_the_logarithm_of_exposure():
    design, _, exposure, counts, _ = simulated(3, 100)
    by_exposure = fit_poisson(design, counts, exposure=exposure)
    by_offset = fit_poisson(design, counts, offset=np.log(exposure))
    np.testing.assert_allclose(by_exposure.coefficients, by_offset.coefficients, rtol=1e-12)
    expected = by_offset.predict(design.matrix, np.log(exposure)).sum()
    assert expected == pytest.approx(counts.sum(), rel=1e-9)


def test_rows_without_exposure_are_left_out():
    kept = fit_poisson(np.ones((2, 1)), [3, 5], exposure=[2.0, 4.0])
    more = fit_poisson(np.ones((3, 1)), [3, 5, 0], exposure=[2.0, 4.0, 0.0], clusters=[1, 2, 3])
    np.testing.assert_allclose(more.coefficients, kept.coefficients, rtol=1e-12)
    assert (more.n_rows, more.n_clusters) == (2, 2)


def test_robust_interval_of_one_rate_is_the_unit_clustered_one():
    counts, exposure = np.array([0, 2, 1, 4, 0]), np.array([2.0, 1.0, 3.0, 2.0, 1.0])
    fit = fit_poisson(np.ones((5, 1)), counts, exposure=exposure, clusters=list("abcde"))
    found, expected = fit.ratio_interval("0", robust=True), sandwich_interval(counts, exposure)
    assert (found.low, found.high) == pytest.approx((expected.low, expected.high), rel=1e-8)


def test_robust_covariance_sums_scores_by_cluster():
    design, _, exposure, counts, rng = simulated(4, 200)
    clusters = rng.choice(["u1", "u2", "u3", "u4", "u5", "u6"], 200)
    fit = fit_poisson(design, counts, exposure=exposure, clusters=clusters)
    residual = counts - np.exp(design.matrix @ fit.coefficients) * exposure
    middle = np.zeros((len(design.names),) * 2)
    for name in np.unique(clusters):
        score = (design.matrix * residual[:, None])[clusters == name].sum(axis=0)
        middle += np.outer(score, score) * 6 / 5
    np.testing.assert_allclose(fit.robust_covariance, fit.covariance @ middle @ fit.covariance, rtol=1e-7, atol=1e-12)


def test_a_level_without_failures_runs_off_and_says_so_unless_a_prior_holds_it():
    frame = pd.DataFrame({"g": ["a", "b", "c"]})
    bare = fit_poisson(design_matrix(frame, ["g"]), [6, 3, 0], exposure=[5.0, 5.0, 5.0])
    held = fit_poisson(design_matrix(frame, ["g"]), [6, 3, 0], exposure=[5.0, 5.0, 5.0], prior_sd=1.0)
    assert not bare.converged
    assert held.converged
    assert 0.05 < held.ratio("g=c") < 0.6


def test_units_of_a_column_do_not_matter():
    years = np.array([2012.0, 2015.0, 2018.0, 2021.0, 2024.0])
    fit = fit_poisson(np.column_stack([np.ones(5), years]), [3, 4, 6, 7, 9])
    small = fit_poisson(np.column_stack([np.ones(5), (years - 2018) / 1e6]), [3, 4, 6, 7, 9])
    assert fit.converged
    assert small.coefficients[1] / 1e6 == pytest.approx(fit.coefficients[1], rel=1e-6)


def test_no_failure_at_all_is_held_by_a_prior_on_every_effect():
    fit = fit_poisson(np.ones((3, 1)), [0, 0, 0], exposure=[1.0, 1.0, 1.0], prior_sd=[2.0])
    assert fit.converged
    assert 0 < math.exp(fit.coefficients[0]) < 0.5


def test_hundred_thousand_rows_by_sixty_effects_settle_in_few_steps():
    """Six steps or fewer; each is one product of the matrix with itself (0.3 to 0.5 s in all on two idle cores)."""
    rng = np.random.default_rng(5)
    matrix = np.column_stack([np.ones(100_000), rng.integers(0, 2, (100_000, 59))]).astype(float)
    truth = np.concatenate([[-1.5], rng.normal(0, 0.2, 59)])
    fit = fit_poisson(matrix, rng.poisson(np.exp(matrix @ truth)), clusters=rng.integers(0, 600, 100_000))
    assert fit.converged
    assert fit.iterations <= 7
    z = (fit.coefficients - truth) / np.sqrt(np.diag(fit.covariance))
    assert np.std(z) == pytest.approx(1.0, abs=0.35)
    assert np.diag(fit.robust_covariance) == pytest.approx(np.diag(fit.covariance), rel=0.35)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: fit_poisson(np.ones((3, 2)), [1, 2, 3]), "the effects can't be told apart"),
        (lambda: fit_poisson(np.ones(3), [1, 2, 3]), "1 dimensions"),
        (lambda: fit_poisson(np.ones((3, 1)), [1, 2]), "3 rows, counts"),
        (lambda: fit_poisson(np.ones((2, 1)), [1, math.nan]), "counts: 1 values blank, infinite or negative"),
        (lambda: fit_poisson(np.ones((2, 1)), [1, -2]), "the first in row 1"),
        (lambda: fit_poisson([[1.0], [math.inf]], [1, 2]), "design: 1 values"),
        (lambda: fit_poisson(np.ones((2, 1)), [1, 2], exposure=[1.0, math.nan]), "exposure: 1 values"),
        (lambda: fit_poisson(np.ones((2, 1)), [1, 2], offset=[1.0, -math.inf]), "offset: 1 values"),
        (lambda: fit_poisson(np.ones((2, 1)), [1, 2], exposure=[1.0, 0.0]), "failures on no exposure"),
        (lambda: fit_poisson(np.ones((2, 1)), [0, 0], exposure=[0.0, 0.0]), "no row has any exposure"),
        (lambda: fit_poisson(np.ones((2, 1)), [1, 2], exposure=[1, 1], offset=[0, 0]), "not both"),
        (lambda: fit_poisson(np.ones((2, 1)), [1, 2], prior_sd=[1.0, 2.0]), "one number or 1 of them"),
        (lambda: fit_poisson(np.ones((2, 1)), [1, 2], prior_sd=[0.0]), "above zero"),
        (lambda: fit_poisson(np.ones((2, 1)), [1, 2], clusters=["a", "a"]), "1 cluster can't show"),
        (lambda: fit_poisson(np.ones((2, 1)), [1, 2]).ratio("g=a"), "no effect named 'g=a'"),
        (lambda: fit_poisson(np.ones((2, 1)), [1, 2]).ratio_interval("0", robust=True), "needs the fit to be given"),
    ],
)
def test_unusable_input_is_refused(call, text):
    with pytest.raises(AnalysisError, match=text):
        call()
