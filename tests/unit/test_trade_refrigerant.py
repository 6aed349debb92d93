"""Leak rates: same days, short histories, follow-up verification."""

import datetime as dt

import pytest

from fleet.errors import AnalysisError
from fleet.trade.refrigerant import Addition, annualized_leak_pct, merge_days, ounces, pounds, rolling_leak_pct

DAY = dt.date(2024, 6, 1)


def on(days, amount):
    return Addition(DAY + dt.timedelta(days=days), amount)


def test_pounds_and_ounces():
    assert pounds(24.0) == 1.5
    assert ounces(1, 6) == 22.0


def test_additions_of_one_day_count_as_one():
    assert merge_days([on(5, 4.0), on(0, 8.0), on(5, 2.0), on(3, 0.0)]) == (on(0, 8.0), on(5, 6.0))
    split = annualized_leak_pct([on(0, 8.0), on(73, 20.0), on(73, 4.0)], 160.0)
    assert split == annualized_leak_pct([on(0, 8.0), on(73, 24.0)], 160.0)


@pytest.mark.parametrize("additions", [[], [on(0, 8.0)], [on(0, 8.0), on(0, 4.0)]])
def test_one_addition_has_no_annual_rate(additions):
    assert annualized_leak_pct(additions, 160.0) is None


def test_rolling_year_is_365_days_and_ends_on_the_day_asked():
    additions = [on(0, 16.0), on(365, 8.0), on(400, 4.0)]
    assert rolling_leak_pct(additions, 160.0, as_of=DAY + dt.timedelta(days=364)) == pytest.approx(10.0)
    assert rolling_leak_pct(additions, 160.0, as_of=DAY + dt.timedelta(days=365)) == pytest.approx(5.0)


def test_rolling_year_starts_again_after_a_passed_verification():
    additions = [on(0, 16.0), on(30, 8.0)]
    found = rolling_leak_pct(additions, 160.0, as_of=DAY + dt.timedelta(days=60), verified_on=DAY)
    assert found == pytest.approx(5.0)


@pytest.mark.parametrize("charge", [0.0, -1.0, float("nan")])
def test_the_full_charge_must_be_known(charge):
    with pytest.raises(AnalysisError, match="data plate"):
        annualized_leak_pct([on(0, 1.0), on(1, 1.0)], charge)
    with pytest.raises(AnalysisError, match="data plate"):
        rolling_leak_pct([on(0, 1.0)], charge, as_of=DAY)


def test_a_negative_amount_is_refused():
    with pytest.raises(AnalysisError, match=r"-2\.0 oz added on 2024-06-01"):
        merge_days([on(0, -2.0)])
