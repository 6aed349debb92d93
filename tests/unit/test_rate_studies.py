"""The studies of rates and of units that keep failing, small: they run, and report every target they are for."""

import math

from tests.studies import rates_study, units_study


def targets(lines):
    return {str(line)[0:2].strip() for line in lines if line.target}


def test_the_study_of_rates_runs_and_meets_what_is_exact():
    lines = rates_study.run_study(2, seed=1)
    assert targets(lines) == {"1", "2", "3", "+"}
    assert all(math.isfinite(line.reached) for line in lines)
    exact = [line for line in lines if line.item.startswith("1 ") and line.target]
    assert len(exact) == 2
    assert all(line.met and line.error == 0.0 for line in exact)


def test_the_study_of_units_runs_and_beats_the_raw_list():
    lines = units_study.run_study(3, seed=1)
    assert targets(lines) == {"14", "15", "16", "+"}
    forecasts = [line for line in lines if line.item.startswith("14")]
    assert len(forecasts) == 4
    for line in forecasts:
        # three fleets: within a third of the truth, where the raw list is off by a factor of two to five
        assert abs(line.reached - 1) < 0.35
        assert float(line.naive.removeprefix("raw ")) > 1.7
