"""Numbers are said as a person would: rounded to what the interval allows, blanks as blanks."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from fleet.present import numbers as say


@pytest.mark.parametrize(
    ("value", "low", "high", "said"),
    [
        (11.7, 8.2, 17.4, "about 12, 8 to 17"),
        (0.459, 0.41, 0.512, "about 0.46, 0.41 to 0.51"),
        (1234, 800, 1700, "about 1,200, 800 to 1,700"),
        (31.6, 30.1, 33.4, "about 32, 30 to 33"),
        (0.0011, 0.0003, 0.0029, "about 0.0011, 0.0003 to 0.0029"),
        (-2.39, -2.9, -1.9, "about -2.4, -2.9 to -1.9"),
        (0.0, 0.0, 0.08, "about 0.00, 0.00 to 0.08"),
        (0, None, None, "about 0"),
        (237.4, None, None, "about 240"),
        (5.0, 5.0, 5.0, "about 5.0, 5.0 to 5.0"),
    ],
)
def test_an_estimate_is_said_with_its_interval(value, low, high, said):
    assert say.about(value, low, high) == said


@pytest.mark.parametrize("blank", [None, float("nan"), pd.NA, float("inf"), "more than 15 years"])
def test_an_estimate_that_is_blank_says_not_enough_data(blank):
    assert say.about(blank, 1, 2) == "not enough data"


def test_a_bound_that_is_blank_leaves_the_estimate_alone():
    assert say.about(3.2, None, 4.0) == "about 3.2"
    assert say.with_interval(3.2, 1.0, float("inf")) == "3.2"


def test_the_unit_follows_the_estimate():
    assert say.about(12, 8, 17, unit="parts") == "about 12 parts, 8 to 17"


def test_interval_cells():
    assert say.with_interval(0.0774, 0.0687, 0.0869) == "0.077 (0.069 to 0.087)"
    assert say.with_interval(None) == say.BLANK


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (2309.6, "$2,310"),
        (100, "$100"),
        (99.994, "$99.99"),
        (99.996, "$100"),
        (14.8, "$14.80"),
        (0, "$0.00"),
        (-0.001, "$0.00"),
        (-250.4, "-$250"),
        (None, "–"),
        (float("nan"), "–"),
    ],
)
def test_money_is_whole_dollars_from_a_hundred_on(value, said):
    assert say.money(value) == said


@pytest.mark.parametrize(
    ("share", "said"),
    [(0.5, "50 %"), (0.0, "0 %"), (1.0, "100 %"), (0.004, "less than 1 %"), (0.996, "over 99 %"), (None, "–")],
)
def test_shares_are_said_in_percent_and_never_as_certain_by_rounding(share, said):
    assert say.percent(share) == said


def test_deviations_carry_their_sign_and_zero_carries_none():
    assert [say.signed_pct(v) for v in (-4.25, 0.6, -0.01, None)] == ["-4.2 %", "+0.6 %", "0.0 %", "–"]


@pytest.mark.parametrize(
    ("number", "said"),
    [(1, "1 part"), (46, "46 parts"), (0, "no parts"), (1204, "1,204 parts"), (np.int64(2), "2 parts")],
)
def test_counts_are_said_with_their_noun(number, said):
    assert say.counted(number, "part") == said


def test_a_noun_with_a_plural_of_its_own():
    assert say.counted(3, "shelf", "shelves") == "3 shelves"


def test_dates_drop_the_year_they_share():
    assert say.day(dt.date(2026, 4, 9)) == "April 9, 2026"
    assert say.day(dt.date(2026, 4, 9), beside=dt.date(2026, 1, 1)) == "April 9"
    assert say.day(pd.Timestamp("2026-04-09 13:00")) == "April 9, 2026"
    assert say.day("2026-04-09") == "April 9, 2026"
    assert say.day("late") == "late"
    assert say.day(pd.NaT) == "–"


def test_a_number_keeps_its_unit_on_its_line():
    assert say.unbroken("-0.9 % of 35 µF") == "-0.9\N{NO-BREAK SPACE}% of 35\N{NO-BREAK SPACE}µF"


def test_months_are_named():
    assert say.month("2026-04") == "April 2026"
    assert say.month("soon") == "soon"


def test_only_a_date_is_a_date():
    assert say.as_date("more than 15 years") is None
    assert say.as_date(dt.datetime(2026, 4, 9, 8, tzinfo=dt.UTC)) == dt.date(2026, 4, 9)


def test_lists_are_cut_with_the_number_left_out():
    assert say.listed(["3"]) == "3"
    assert say.listed(["3", "7", "11"]) == "3, 7 and 11"
    assert say.listed([str(i) for i in range(1, 13)]) == "1, 2, 3, 4, 5 and 7 more"
    assert say.listed([]) == ""


def test_buildings_are_named_once_a_property():
    pairs = [("Juniper", "3"), ("Juniper", "7"), ("Alder", "2")]
    assert say.places(pairs) == "Juniper 3 and 7, Alder 2"
    assert say.places(pairs, limit=1) == "Juniper 3 and 2 more"


@pytest.mark.parametrize(
    ("value", "written"),
    [(12, "12"), (1234.5, "1,234"), (0.04831, "0.0483"), (3.926, "3.93"), (-0.0, "0"), (None, "–")],
)
def test_plain_numbers_keep_three_digits(value, written):
    assert say.plain_number(value) == written


@pytest.mark.parametrize(
    ("value", "written"), [(123.4, "123"), (3.93, "3.9"), (0.0483, "0.05"), (2.0, "2"), (None, "–")]
)
def test_estimates_in_cells_claim_no_false_precision(value, written):
    assert say.estimate(value) == written


@pytest.mark.parametrize("value", [None, "", float("nan"), pd.NA, pd.NaT])
def test_blanks(value):
    assert say.is_blank(value)
    assert say.finite(value) is None


@pytest.mark.parametrize("value", [0, False, "0", dt.date(2026, 1, 1), [], ()])
def test_not_blank(value):
    assert not say.is_blank(value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1 failures in time taken out", "1 failure in time taken out"),
        ("1 visits fall outside; 21 visits fall inside", "1 visit falls outside; 21 visits fall inside"),
        ("1 lives of unknown birth", "1 life of unknown birth"),
        ("1 of 40 units have no installation date", "1 of 40 units has no installation date"),
        ("1 hard-start failures where no kit was known", "1 hard-start failure where no kit was known"),
        ("1,001 failures, 0.1 failures, 3.1 units", "1,001 failures, 0.1 failures, 3.1 units"),
        ("in 2021 units have; lot 24-1 parts", "in 2021 units have; lot 24-1 parts"),
    ],
)
def test_after_a_one_noun_and_verb_agree(text, said):
    assert say.agreeing(text) == said


def test_what_is_left_out_is_one_sentence():
    assert say.left_out({"failures in gaps": 1, "calls that are themselves call-backs": 0, "visits": 1200}) == (
        "Left out: 1 failure in gaps; 1,200 visits."
    )
    assert say.left_out({}) == ""


def test_a_count_to_come_is_finer_than_its_bounds():
    assert say.count_to_come(2.56, 0.0, 6.0) == "2.6 (0 to 6)"
    assert say.count_to_come(0.42, 0, 2) == "0.42 (0 to 2)"
    assert say.count_to_come(None, 0, 2) == "–"


def test_a_ratio_is_as_fine_as_its_short_side():
    assert say.with_interval(1.93, 0.71, 5.62) == "2 (1 to 6)"
    assert say.with_interval(1.93, 0.71, 5.62, ratio=True) == "1.9 (0.7 to 5.6)"
    assert say.with_interval(1.04, 0.92, 1.17, ratio=True) == "1.04 (0.92 to 1.17)"
    assert say.with_interval(0.0, 0.0, 50.1, ratio=True) == "0 (0 to 50)"
