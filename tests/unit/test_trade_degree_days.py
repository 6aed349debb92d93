"""Cooling degree days: rounding, missing days, nonsense."""

import numpy as np
import pandas as pd
import pytest

from fleet.errors import AnalysisError
from fleet.trade.degree_days import cooling_degree_days, fahrenheit


def test_fahrenheit():
    np.testing.assert_allclose(fahrenheit([0.0, 100.0, -40.0]), [32.0, 212.0, -40.0], rtol=1e-12)


def test_a_cool_day_asks_for_nothing():
    assert cooling_degree_days(70.0, 50.0) == 0.0


def test_whole_degrees_round_halves_up():
    """77 and 64 have a mean of 70.5, written as 71; 76.5 is written as 77."""
    assert cooling_degree_days(77.0, 64.0, whole_degrees=True) == 6.0
    assert cooling_degree_days(76.5, 64.0, whole_degrees=True) == 6.0
    assert cooling_degree_days(77.0, 64.0) == 5.5


def test_a_missing_high_or_low_stays_missing():
    days = cooling_degree_days(pd.Series([90.0, None, 90.0]), pd.Series([70.0, 70.0, None]))
    np.testing.assert_array_equal(days, [15.0, np.nan, np.nan])


def test_a_low_above_its_high_is_refused():
    with pytest.raises(
        AnalysisError, match=r"1 of 2 days have a low above their high \(the first has high 60 and low 70"
    ):
        cooling_degree_days([90.0, 60.0], [70.0, 70.0])
