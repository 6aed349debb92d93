"""Checks against published numbers: the likelihood ratio of a spatial scan.

Source: leukaemia in 281 tracts of New York state, upstate 1978 to 1982, as in the test files of the R package smerc,
stated there to be checked against the reference program of the spatial scan (M. Kulldorff, Commun. Stat. Theory Methods
26 (1997), 1481-1496). Total 552 cases (floored) in 1 057 673 people; the most likely cluster holds 85 cases and 95 249
people; printed there: expected 49.71, observed/expected 1.71, relative risk 1.84, log likelihood ratio 11.577255.
"""

import numpy as np
import pytest

from fleet.analysis.scan import candidate_windows, log_likelihood_ratio, running_shares

CASES, PEOPLE = 552, 1_057_673
INSIDE, PEOPLE_INSIDE = 85, 95_249


def test_log_likelihood_ratio_of_the_published_cluster():
    expected = CASES * PEOPLE_INSIDE / PEOPLE
    assert round(expected, 2) == 49.71
    assert round(INSIDE / expected, 2) == 1.71
    outside = (CASES - INSIDE) / (CASES - expected)
    assert round(INSIDE / expected / outside, 2) == 1.84
    assert float(log_likelihood_ratio(INSIDE, expected, CASES)) == pytest.approx(11.577255, abs=5e-7)


def test_published_ratio_comes_out_of_the_scan_itself():
    # one building whose failures lie in two weeks as the cases lie inside and outside of the published cluster
    week = np.repeat([0, 1], [INSIDE, CASES - INSIDE])
    running = running_shares(np.array([[PEOPLE_INSIDE, PEOPLE - PEOPLE_INSIDE]], dtype=float))
    windows = candidate_windows(np.zeros(CASES, dtype=np.int64), week, running, max_weeks=1)
    assert windows.llr.max() == pytest.approx(11.577255, abs=5e-7)
    assert windows.observed[windows.llr.argmax()] == INSIDE


def test_invariants_of_the_permutation_scan():
    # expected counts of all weeks add up to the building's failures; no ratio where nothing is raised
    running = running_shares(np.random.default_rng(1).uniform(0.1, 1.0, (4, 20)))
    assert (14 * np.diff(running, axis=1)).sum(axis=1) == pytest.approx(np.full(4, 14.0))
    assert (log_likelihood_ratio(np.arange(5), np.arange(5) + 0.5, 50.0) == 0).all()
