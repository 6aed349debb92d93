"""Capacitor arithmetic and verdicts at their edges."""

import math

import pytest

from fleet.errors import AnalysisError
from fleet.trade.capacitor import (
    CapacitorRating,
    deviation_pct,
    discharge_seconds,
    judge_run_reading,
    judge_start_reading,
    may_stand_for,
    parallel_uf,
    pct_of_rating,
    reason_against,
    running_capacitance,
    series_uf,
    singles_may_stand_for,
    stored_energy_j,
)


def test_no_current_is_no_capacitance():
    assert running_capacitance(345.0, 0.0).value_uf == 0.0


@pytest.mark.parametrize(
    ("volts", "amps", "hertz", "text"),
    [
        (0.0, 5.0, 60.0, "volts = 0.0 must be above zero"),
        (345.0, 5.0, -50.0, "hertz = -50.0"),
        (345.0, -1.0, 60.0, "amps = -1.0 must be zero or more"),
        (345.0, math.nan, 60.0, "amps = nan"),
        (math.inf, 5.0, 60.0, "volts = inf"),
    ],
)
def test_running_test_refuses_nonsense(volts, amps, hertz, text):
    with pytest.raises(AnalysisError, match=text):
        running_capacitance(volts, amps, hertz)


def test_uncertainties_add_in_squares():
    found = running_capacitance(300.0, 4.0, volts_uncertainty=0.03, amps_uncertainty=0.04, hertz_uncertainty=0.12)
    assert found.relative_uncertainty == pytest.approx(0.13, rel=1e-12)


def test_percent_and_deviation():
    assert pct_of_rating(42.3, 45.0) == pytest.approx(94.0, rel=1e-12)
    assert deviation_pct(42.3, 45.0) == pytest.approx(-6.0, rel=1e-9)
    with pytest.raises(AnalysisError, match=r"rated_uf = 0\.0"):
        pct_of_rating(40.0, 0.0)


def test_nothing_in_parallel_and_a_hole_in_series():
    assert parallel_uf() == 0.0
    with pytest.raises(AnalysisError, match=r"uf = 0\.0"):
        series_uf(40.0, 0.0)


def test_energy_grows_with_the_square_of_volts():
    assert stored_energy_j(45.0, 740.0) == pytest.approx(4 * stored_energy_j(45.0, 370.0), rel=1e-12)


def test_discharge_stops_at_the_safe_voltage():
    seconds = discharge_seconds(40.0, 15_000.0, 370.0)
    left = math.sqrt(2) * 370.0 * math.exp(-seconds / (15_000.0 * 40e-6))
    assert left == pytest.approx(50.0, rel=1e-9)
    assert discharge_seconds(40.0, 15_000.0, 24.0) == 0.0


def test_a_wide_marked_tolerance_moves_the_change_limit_with_it():
    assert judge_run_reading(39.0, 45.0, 15.0).advice == "leave"
    assert judge_run_reading(38.2, 45.0, 15.0).advice == "change"
    assert judge_run_reading(42.0, 45.0, 5.0, act_pct=5.0).advice == "change"


def test_reasons_say_their_number():
    assert judge_run_reading(40.0, 45.0).reason == "11.1 % below its rating, more than 10 %."
    assert judge_run_reading(42.0, 45.0).reason == "6.7 % below its rating, tolerance 6 %."
    assert "suspect the meter" in judge_run_reading(49.0, 45.0).reason
    assert judge_run_reading(0.0, 45.0).reason == "0 of 45 uF: the section is open."
    assert judge_start_reading(80.0, 88.0, 108.0).reason == "80 uF is below the printed 88-108 uF."


@pytest.mark.parametrize("measured", [-1.0, math.nan, math.inf])
def test_a_broken_reading_is_refused(measured):
    with pytest.raises(AnalysisError, match="can't be judged"):
        judge_run_reading(measured, 45.0)
    with pytest.raises(AnalysisError, match="can't be judged"):
        judge_start_reading(measured, 88.0, 108.0)


def test_a_range_the_wrong_way_round_is_refused():
    with pytest.raises(AnalysisError, match="108-88 uF"):
        judge_start_reading(90.0, 108.0, 88.0)


START = CapacitorRating(start_uf_min=88, start_uf_max=108, volts=250)


@pytest.mark.parametrize(
    ("candidate", "reason"),
    [
        (START, None),
        (CapacitorRating(start_uf_min=88, start_uf_max=108, volts=330), None),
        (CapacitorRating(start_uf_min=88, start_uf_max=108, volts=165), "Rated 165 V, and at least 250 V are needed."),
        (CapacitorRating(start_uf_min=88, start_uf_max=106, volts=250), "88-106 uF can't stand for 88-108 uF"),
        (CapacitorRating(start_uf_min=88, start_uf_max=108), "Its volts aren't known"),
        (CapacitorRating(herm_uf=88, volts=440), "never stand for each other"),
    ],
)
def test_substitutes_for_a_start_capacitor(candidate, reason):
    """Common practice, no source: the same printed range, volts not lower."""
    found = reason_against(START, candidate)
    assert found is None if reason is None else reason in found


def test_a_single_is_a_single_in_whichever_column_it_is_written():
    assert may_stand_for(CapacitorRating(herm_uf=5), CapacitorRating(fan_uf=5, volts=370))


def test_volts_of_an_old_part_that_are_not_known_are_not_judged():
    assert may_stand_for(CapacitorRating(herm_uf=45, fan_uf=5), CapacitorRating(herm_uf=45, fan_uf=5))


def test_an_unrated_part_fits_nothing():
    assert "an unrated capacitor" in reason_against(CapacitorRating(), CapacitorRating())


def test_swapped_sections_are_no_substitute():
    assert not may_stand_for(CapacitorRating(herm_uf=45, fan_uf=5), CapacitorRating(herm_uf=5, fan_uf=45))


def test_singles_stand_only_for_a_dual_run_capacitor():
    one, other = CapacitorRating(herm_uf=45, volts=440), CapacitorRating(herm_uf=5, volts=440)
    assert not singles_may_stand_for(CapacitorRating(herm_uf=45), one, other)
    assert not singles_may_stand_for(START, one, other)
    dual = CapacitorRating(herm_uf=45, fan_uf=5)
    assert not singles_may_stand_for(dual, one, dual)
