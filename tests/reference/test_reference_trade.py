"""Capacitor arithmetic, refrigerant loss and the rules of the trade.

The arithmetic was computed independently of this code; where a number is a habit of the trade, its check says "common
practice, no source", and where it comes from a standard that was not re-read, "[from memory]".
"""

import datetime as dt
import math

import pytest

from fleet.trade.capacitor import (
    CapacitorRating,
    discharge_seconds,
    judge_run_reading,
    judge_start_reading,
    may_stand_for,
    parallel_uf,
    running_capacitance,
    series_uf,
    series_volts,
    singles_may_stand_for,
    stored_energy_j,
)
from fleet.trade.refrigerant import Addition, annualized_leak_pct, rolling_leak_pct


@pytest.mark.parametrize(("hertz", "constant"), [(60.0, 2652.58), (50.0, 3183.10)])
def test_constant_of_the_running_test(hertz, constant):
    """Several trade pages print 2652 x amps / volts at 60 Hz (read); the constant is 10^6 / 2 pi f."""
    assert running_capacitance(1.0, 1.0, hertz).value_uf == pytest.approx(constant, rel=2e-6)


def test_running_example():
    """Computed independently: 5.20 A at 345 V and 60 Hz; a 2 % clamp and 1 % volts make 2.2 %."""
    found = running_capacitance(345.0, 5.20, 60.0)
    assert found.value_uf == pytest.approx(39.981, rel=2e-5)
    assert found.relative_uncertainty == pytest.approx(0.02236, rel=1e-3)


def test_parallel_and_series():
    """Circuit theory: 40 + 5 = 45; 40 with 40 is 20; 45 with 5 is 4.5 uF, the small one taking most volts."""
    assert parallel_uf(40.0, 5.0) == pytest.approx(45.0, rel=1e-12)
    assert series_uf(40.0, 40.0) == pytest.approx(20.0, rel=1e-12)
    assert series_uf(45.0, 5.0) == pytest.approx(4.5, rel=1e-12)
    assert series_volts(370.0, 45.0, 5.0) == pytest.approx((37.0, 333.0), rel=1e-12)


@pytest.mark.parametrize(("volts", "peak", "joules"), [(370.0, 523.0, 6.16), (440.0, 622.0, 8.71)])
def test_stored_energy(volts, peak, joules):
    """Computed independently: 45 uF at the peak of its rated voltage."""
    assert math.sqrt(2) * volts == pytest.approx(peak, rel=1e-3)
    assert stored_energy_j(45.0, volts) == pytest.approx(joules, rel=1e-3)


def test_discharge_time():
    """Computed independently: 45 uF through 20 kilohms from 523 to 50 V (50 V after NEC 460.6 [from memory])."""
    assert discharge_seconds(45.0, 20_000.0, 370.0) == pytest.approx(2.11, rel=2e-3)  # printed to three digits


@pytest.mark.parametrize(
    ("measured_uf", "advice"),
    [(43.0, "leave"), (42.3, "leave"), (42.0, "measure again"), (40.5, "measure again"), (40.4, "change"),
     (47.6, "leave"), (47.8, "measure again"), (50.0, "measure again"), (0.3, "change")],
)  # fmt: skip
def test_run_reading_bands(measured_uf, advice):
    """Common practice, no source: 6 % tolerance on the label, change from 10 % below; rating 45 uF."""
    assert judge_run_reading(measured_uf, 45.0, 6.0).advice == advice


@pytest.mark.parametrize(
    ("measured_uf", "advice"), [(88.0, "leave"), (108.0, "leave"), (87.9, "change"), (108.5, "measure again")]
)
def test_start_reading_range(measured_uf, advice):
    """Common practice, no source: a reading inside the printed range (88-108 uF) passes."""
    assert judge_start_reading(measured_uf, 88.0, 108.0).advice == advice


@pytest.mark.parametrize(
    ("candidate", "fits"),
    [
        (CapacitorRating(herm_uf=45, fan_uf=5, volts=370), True),
        (CapacitorRating(herm_uf=45, fan_uf=5, volts=440), True),
        (CapacitorRating(herm_uf=45, fan_uf=5, volts=250), False),
        (CapacitorRating(herm_uf=50, fan_uf=5, volts=440), False),
        (CapacitorRating(herm_uf=45, fan_uf=7.5, volts=440), False),
        (CapacitorRating(herm_uf=45, volts=440), False),
        (CapacitorRating(start_uf_min=43, start_uf_max=53, volts=440), False),
    ],
)
def test_substitutes_for_a_dual_run_capacitor(candidate, fits):
    """Several trade pages (read): same microfarads in each section, 370 to 440 V is fine, never lower."""
    assert may_stand_for(CapacitorRating(herm_uf=45, fan_uf=5, volts=370), candidate) is fits


def test_two_singles_stand_for_a_dual():
    """Common practice, no source."""
    dual = CapacitorRating(herm_uf=45, fan_uf=5, volts=370)
    small = CapacitorRating(fan_uf=5, volts=440)
    assert singles_may_stand_for(dual, CapacitorRating(herm_uf=45, volts=370), small)
    assert not singles_may_stand_for(dual, CapacitorRating(herm_uf=50, volts=370), small)
    assert not singles_may_stand_for(dual, CapacitorRating(herm_uf=45, volts=250), small)


def test_leak_rate_by_both_formulas():
    """Definition in 40 CFR 82.152 and 84.102 (secondary pages); example worked by hand: 75 %, 20 %, 15 % capped."""
    last = dt.date(2024, 7, 31)
    additions = [Addition(last - dt.timedelta(days=73), 8.0), Addition(last, 24.0)]
    assert annualized_leak_pct(additions, 160.0) == pytest.approx(75.0, rel=1e-12)
    assert rolling_leak_pct(additions, 160.0, as_of=last) == pytest.approx(20.0, rel=1e-12)
    long_ago = [Addition(last - dt.timedelta(days=400), 8.0), Addition(last, 24.0)]
    assert annualized_leak_pct(long_ago, 160.0) == pytest.approx(15.0, rel=1e-12)
    assert rolling_leak_pct(long_ago, 160.0, as_of=last) == pytest.approx(15.0, rel=1e-12)
