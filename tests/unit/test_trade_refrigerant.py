"""Leak rates: same days, short histories, follow-up verification."""

import datetime as dt

import pytest

from fleet.errors import AnalysisError
from fleet.trade.refrigerant import (
    REFRIGERANTS,
    Addition,
    annualized_leak_pct,
    find_refrigerant,
    merge_days,
    ounces,
    pounds,
    rolling_leak_pct,
    rule_standing,
)

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


def test_the_first_addition_has_a_rate_where_a_year_without_one_was_watched():
    first = [on(0, 16.0)]
    assert annualized_leak_pct(first, 160.0, watched_from=DAY - dt.timedelta(days=365)) == pytest.approx(10.0)
    assert annualized_leak_pct(first, 160.0, watched_from=DAY - dt.timedelta(days=900)) == pytest.approx(10.0)
    assert annualized_leak_pct(first, 160.0, watched_from=DAY - dt.timedelta(days=364)) is None


def test_days_run_from_the_last_filling():
    # 73 days are a fifth of 365
    filled = DAY - dt.timedelta(days=73)
    assert annualized_leak_pct([on(0, 16.0)], 160.0, filled_on=filled) == pytest.approx(50.0)
    between = [on(-200, 16.0), on(0, 16.0)]
    assert annualized_leak_pct(between, 160.0, filled_on=filled) == pytest.approx(50.0)
    assert annualized_leak_pct(between, 160.0, filled_on=DAY) == pytest.approx(10.0 * 365 / 200)


def test_no_addition_has_no_rate_however_long_it_was_watched():
    assert annualized_leak_pct([], 160.0, filled_on=DAY, watched_from=DAY) is None


@pytest.mark.parametrize(
    ("word", "name"),
    [("R-410A", "R-410A"), ("r410a", "R-410A"), ("410 A", "R-410A"), ("HCFC-22", "R-22"), ("R 22", "R-22"),
     ("hfc32", "R-32"), ("R-454B", "R-454B"), ("134A", "R-134a"), ("R-999", None), ("", None), (None, None),
     ("none", None)],
)  # fmt: skip
def test_refrigerants_by_their_words(word, name):
    found = find_refrigerant(word)
    assert (found.name if found else None) == name


def test_which_refrigerants_burn():
    assert {r.name for r in REFRIGERANTS.values() if r.flammable} == {"R-290", "R-32", "R-452B", "R-454B"}


@pytest.mark.parametrize(
    ("name", "charge_lb", "standing"),
    [("R-22", 6.0, "below"), ("R-410A", 6.0, "below"), ("R-22", 49.9, "below"), ("R-22", 50.0, "may apply"),
     ("R-410A", 14.9, "below"), ("R-410A", 15.0, "may apply"), ("R-290", 20.0, "below"), ("R-999", 6.0, "below"),
     ("R-999", 20.0, "unknown")],
)  # fmt: skip
def test_where_a_rule_may_apply(name, charge_lb, standing):
    assert rule_standing(REFRIGERANTS.get(name), ounces(charge_lb)) == standing


@pytest.mark.parametrize("charge", [None, 0.0, float("nan")])
def test_without_a_charge_no_rule_can_be_told(charge):
    assert rule_standing(REFRIGERANTS["R-22"], charge) == "unknown"
