"""What must hold for any numbers: statistics, stocking and trade arithmetic (hypothesis, the same cases every run)."""

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.analysis.poisson import (
    benjamini_hochberg,
    clopper_pearson,
    combined_interval,
    compare_two_rates,
    garwood_interval,
    midp_interval,
    smallest_detectable_ratio,
)
from fleet.analysis.poisson_regression import design_matrix, fit_poisson
from fleet.analysis.recurrence import fit_power_law, laplace_trend, mean_cumulative
from fleet.analysis.shrinkage import shrink_rates, shrink_with_prior
from fleet.planning.newsvendor import (
    critical_ratio,
    expected_backorders_poisson,
    left_and_short_draws,
    negative_binomial_loss,
    optimal_stock_draws,
    optimal_stock_negative_binomial,
    optimal_stock_poisson,
    poisson_loss,
)
from fleet.trade.capacitor import (
    CapacitorRating,
    judge_run_reading,
    may_stand_for,
    parallel_uf,
    running_capacitance,
    series_uf,
    series_volts,
)
from fleet.trade.components import COMPONENT_BY_NAME, component_synonyms, to_component
from fleet.trade.degree_days import cooling_degree_days, fahrenheit
from fleet.trade.refrigerant import Addition, annualized_leak_pct, rolling_leak_pct

steady = settings(derandomize=True, deadline=None, max_examples=60, database=None)

counts = st.integers(0, 200)
years = st.floats(0.1, 500.0)
levels = st.floats(0.5, 0.99)
costs = st.floats(0.01, 100.0)
microfarads = st.floats(1.0, 120.0)


@steady
@given(counts, years, levels)
def test_garwood_holds_the_rate_and_midp_lies_inside(count, exposure, level):
    outer, inner = garwood_interval(count, exposure, level), midp_interval(count, exposure, level)
    assert outer.low <= count / exposure <= outer.high
    assert outer.low <= inner.low <= inner.high <= outer.high


@steady
@given(counts, years, levels, st.floats(0.01, 100.0))
def test_another_unit_of_time_only_scales_the_limits(count, exposure, level, factor):
    one, other = garwood_interval(count, exposure, level), garwood_interval(count, exposure * factor, level)
    assert other.low * factor == pytest.approx(one.low, rel=1e-9)
    assert other.high * factor == pytest.approx(one.high, rel=1e-9)


@steady
@given(counts, levels, st.floats(0.001, 0.4))
def test_more_confidence_is_a_wider_interval(count, level, more):
    narrow, wide = garwood_interval(count, 1.0, level), garwood_interval(count, 1.0, level + (1 - level) * more)
    assert wide.low <= narrow.low
    assert narrow.high < wide.high


@steady
@given(st.lists(st.tuples(st.integers(0, 9), years), min_size=1, max_size=30))
def test_combined_interval_holds_the_exact_one(units):
    n, exposure = np.array(units).T
    exact, combined = garwood_interval(int(n.sum()), float(exposure.sum())), combined_interval(n, exposure)
    assert combined.low <= exact.low * (1 + 1e-12)
    assert combined.high >= exact.high * (1 - 1e-12)


@steady
@given(counts, years, counts, years, st.sampled_from(["exact", "mid-p"]))
def test_swapping_the_groups_turns_the_ratio_over(x1, t1, x0, t0, method):
    one, other = (
        compare_two_rates(x1, t1, x0, t0, method=method),
        compare_two_rates(x0, t0, x1, t1, method=method),
    )
    assert one.p_value == pytest.approx(other.p_value, rel=1e-7, abs=1e-12)
    assert one.p_greater == pytest.approx(other.p_less, rel=1e-7, abs=1e-12)
    if one.interval.low > 0:
        assert other.interval.high == pytest.approx(1 / one.interval.low, rel=1e-6)
    if x1 and x0:
        assert one.interval.low <= one.ratio <= one.interval.high


@steady
@given(st.integers(0, 60), years, st.integers(0, 60), years, st.floats(0.2, 5.0))
def test_the_interval_of_a_ratio_and_its_test_agree(x1, t1, x0, t0, null_ratio):
    found = compare_two_rates(x1, t1, x0, t0, null_ratio=null_ratio)
    inside = found.interval.low < null_ratio < found.interval.high
    assert inside == (found.p_value > 0.10) or found.p_value == pytest.approx(0.10, abs=1e-6)


@steady
@given(st.floats(0.5, 1000.0), st.floats(0.5, 1000.0), st.floats(1.1, 5.0))
def test_more_data_shows_smaller_ratios(expected_0, expected_1, factor):
    assert (
        1
        < smallest_detectable_ratio(expected_0 * factor, expected_1 * factor)
        < smallest_detectable_ratio(expected_0, expected_1)
    )


@steady
@given(st.integers(1, 300), st.data(), levels)
def test_share_limits_hold_the_share_and_mirror(n, data, level):
    successes = data.draw(st.integers(0, n))
    found, mirrored = clopper_pearson(successes, n, level), clopper_pearson(n - successes, n, level)
    assert 0 <= found.low <= successes / n <= found.high <= 1
    assert found.low == pytest.approx(1 - mirrored.high, abs=1e-9)


@steady
@given(st.lists(st.floats(0, 1), min_size=1, max_size=40), st.floats(0.01, 0.3), st.data())
def test_stronger_evidence_never_unnames_a_finding(p, q, data):
    named = benjamini_hochberg(p, q)
    assert all(value <= q for value, yes in zip(p, named, strict=True) if yes)
    which = data.draw(st.integers(0, len(p) - 1))
    stronger = [value / 2 if at == which else value for at, value in enumerate(p)]
    assert (benjamini_hochberg(stronger, q) | ~named).all()


groups = st.lists(st.tuples(st.integers(0, 12), st.floats(0.2, 8.0)), min_size=3, max_size=12)


@steady
@given(groups)
def test_shrinkage_orders_and_bounds(units):
    n, exposure = np.array(units).T
    found = shrink_rates(n, exposure)
    assert (found.low < found.high).all()
    assert (found.mean < found.high).all()
    raw = n / exposure
    # Between what the group itself says and what is usual; the mean of all groups is itself uncertain.
    usual = max(found.mean_rate, raw.max())
    assert (found.mean <= usual * 1.0001).all()
    assert (found.probability_above(3.0) <= found.probability_above(1.0) + 1e-12).all()


@steady
@given(groups, st.randoms(use_true_random=False))
def test_shrinkage_does_not_depend_on_the_order_of_groups(units, random):
    order = list(range(len(units)))
    random.shuffle(order)
    n, exposure = np.array(units).T
    one, other = shrink_rates(n, exposure), shrink_rates(n[order], exposure[order])
    np.testing.assert_allclose(other.mean, one.mean[order], rtol=1e-7)
    np.testing.assert_allclose(other.high, one.high[order], rtol=1e-6)


@steady
@given(groups, st.floats(0.05, 50.0))
def test_shrunk_rates_scale_with_the_unit_of_time(units, factor):
    n, exposure = np.array(units).T
    one, other = shrink_rates(n, exposure), shrink_rates(n, exposure * factor)
    np.testing.assert_allclose(other.mean * factor, one.mean, rtol=1e-5)
    np.testing.assert_allclose(other.probability_above(2.0), one.probability_above(2.0), atol=1e-5)


@steady
@given(groups, st.floats(0.2, 20.0), st.floats(0.2, 20.0))
def test_a_given_prior_lies_between_the_data_and_the_prior(units, shape, rate):
    n, exposure = np.array(units).T
    found = shrink_with_prior(n, exposure, shape=shape, rate=rate)
    raw, prior = n / exposure, shape / rate
    assert (found.mean >= np.minimum(raw, prior) * (1 - 1e-12)).all()
    assert (found.mean <= np.maximum(raw, prior) * (1 + 1e-12)).all()


cells = st.lists(
    st.tuples(st.sampled_from("ab"), st.sampled_from("xyz"), st.integers(0, 9), st.floats(0.5, 9.0)),
    min_size=8,
    max_size=25,
)


@steady
@given(cells, st.floats(0.1, 10.0), st.randoms(use_true_random=False))
def test_regression_keeps_the_total_and_ignores_order_and_unit(rows, factor, random):
    frame = pd.DataFrame(rows, columns=["a", "b", "n", "t"])
    frame.loc[0, "n"] += 1
    baselines = {"a": frame["a"].iloc[0], "b": frame["b"].iloc[0]}
    one = fit_poisson(
        design_matrix(frame, ["a", "b"], baselines=baselines), frame["n"], exposure=frame["t"], prior_sd=1.0
    )
    assert one.converged
    fitted = one.predict(design_matrix(frame, ["a", "b"], baselines=baselines).matrix, np.log(frame["t"]))
    assert fitted.sum() == pytest.approx(frame["n"].sum(), rel=1e-6)
    order = list(range(len(frame)))
    random.shuffle(order)
    mixed = frame.iloc[order]
    other = fit_poisson(
        design_matrix(mixed, ["a", "b"], baselines=baselines), mixed["n"], exposure=mixed["t"] * factor, prior_sd=1.0
    )
    np.testing.assert_allclose(other.coefficients[1:], one.coefficients[1:], atol=1e-6)
    assert other.coefficients[0] == pytest.approx(one.coefficients[0] - math.log(factor), abs=1e-6)


watches = st.lists(
    st.tuples(st.floats(0.0, 5.0), st.floats(0.5, 8.0), st.lists(st.floats(0.01, 1.0), min_size=0, max_size=4)),
    min_size=2,
    max_size=12,
)


def as_windows(watch):
    start = np.array([begin for begin, _, _ in watch])
    stop = start + np.array([length for _, length, _ in watch])
    unit = np.array([at for at, (_, _, shares) in enumerate(watch) for _ in shares], dtype=int)
    share = np.array([share for _, _, shares in watch for share in shares])
    return start, stop, unit, np.minimum(start[unit] + share * (stop - start)[unit], stop[unit])


@steady
@given(watches, st.floats(0.1, 400.0), st.randoms(use_true_random=False))
def test_mean_curve_rises_and_ignores_order_and_unit_of_time(watch, factor, random):
    start, stop, unit, age = as_windows(watch)
    found = mean_cumulative(start, stop, unit, age)
    known = ~np.isnan(found.mean)
    assert (np.diff(found.mean[known]) > 0).all()
    assert (found.sd[known] >= 0).all()
    assert found.events.sum() == unit.size
    order = list(range(unit.size))
    random.shuffle(order)
    other = mean_cumulative(start, stop, unit[order], age[order])
    np.testing.assert_allclose(other.mean, found.mean, rtol=1e-9)
    trend = laplace_trend(start, stop, unit, age)
    if trend is not None:
        scaled = laplace_trend(start * factor, stop * factor, unit, np.minimum(age * factor, (stop * factor)[unit]))
        assert scaled.z == pytest.approx(trend.z, rel=1e-6, abs=1e-9)


@steady
@given(watches, st.floats(0.1, 400.0))
def test_power_law_expects_what_was_seen_in_any_unit_of_time(watch, factor):
    start, stop, unit, age = as_windows(watch)
    found = fit_power_law(start, stop, unit, age)
    if found is None:
        return
    expected = sum(found.expected(a, b) for a, b in zip(start, stop, strict=True))
    assert expected == pytest.approx(unit.size, rel=1e-9)
    scaled = fit_power_law(start * factor, stop * factor, unit, np.minimum(age * factor, (stop * factor)[unit]))
    assert scaled.shape == pytest.approx(found.shape, rel=1e-6)


@steady
@given(st.floats(0.01, 60.0), costs, costs, st.floats(1.01, 10.0))
def test_dearer_shortage_never_means_less_stock(mean, cost_left, cost_short, dearer):
    ratio, higher = critical_ratio(cost_short, cost_left), critical_ratio(cost_short * dearer, cost_left)
    assert optimal_stock_poisson(mean, ratio) <= optimal_stock_poisson(mean, higher)
    assert optimal_stock_negative_binomial(mean, 2.0, ratio) <= optimal_stock_negative_binomial(mean, 2.0, higher)


@steady
@given(st.floats(0.01, 60.0), st.integers(1, 40))
def test_backorders_fall_ever_more_slowly(mean, stock):
    open_needs = expected_backorders_poisson(mean, stock + 1)
    assert (np.diff(open_needs) <= 1e-12).all()
    assert (np.diff(open_needs, 2) >= -1e-9).all()
    assert open_needs[stock] == pytest.approx(poisson_loss(mean, stock), abs=1e-9)
    assert negative_binomial_loss(mean, 3.0, stock) >= poisson_loss(mean, stock) - 1e-9


@steady
@given(st.lists(st.integers(0, 30), min_size=1, max_size=80), st.integers(0, 40), costs, costs)
def test_left_less_short_is_stock_less_need_and_the_choice_is_cheapest(needs, stock, cost_left, cost_short):
    draws = np.array(needs)
    left, short = left_and_short_draws(draws, stock)
    assert float(left - short) == pytest.approx(stock - draws.mean(), abs=1e-9)
    chosen = int(optimal_stock_draws(draws, critical_ratio(cost_short, cost_left)))
    best_left, best_short = left_and_short_draws(draws, chosen)
    assert (
        cost_left * best_left + cost_short * best_short <= (cost_left * left + cost_short * short) * (1 + 1e-9) + 1e-9
    )


@steady
@given(st.lists(microfarads, min_size=1, max_size=5), st.floats(100.0, 600.0))
def test_series_is_smaller_than_each_and_parallel_larger(sections, volts):
    assert series_uf(*sections) <= min(sections) * (1 + 1e-12)
    assert parallel_uf(*sections) >= max(sections) * (1 - 1e-12)
    assert math.fsum(series_volts(volts, *sections)) == pytest.approx(volts, rel=1e-9)


@steady
@given(microfarads, st.floats(200.0, 500.0), st.sampled_from([50.0, 60.0]))
def test_the_running_test_gives_back_the_capacitance(uf, volts, hertz):
    amps = 2 * math.pi * hertz * volts * uf * 1e-6
    assert running_capacitance(volts, amps, hertz).value_uf == pytest.approx(uf, rel=1e-9)


@steady
@given(microfarads, st.floats(0.0, 1.2), st.floats(0.0, 1.2))
def test_a_lower_reading_never_gets_a_milder_verdict(rated, one, other):
    """Common practice, no source: below the rating, verdicts only get stricter as microfarads are lost."""
    order = ("leave", "measure again", "change")
    low, high = sorted((one, other))
    if high <= 1.0:
        worse, better = (order.index(judge_run_reading(share * rated, rated).advice) for share in (low, high))
        assert worse >= better


@steady
@given(microfarads, microfarads, st.sampled_from([250.0, 370.0, 440.0]), st.sampled_from([250.0, 370.0, 440.0]))
def test_a_capacitor_stands_for_itself_and_only_ever_upward_in_volts(herm, fan, volts, other_volts):
    rated = CapacitorRating(herm_uf=herm, fan_uf=fan, volts=volts)
    assert may_stand_for(rated, rated)
    assert may_stand_for(rated, CapacitorRating(herm_uf=herm, fan_uf=fan, volts=other_volts)) == (other_volts >= volts)


@steady
@given(st.sampled_from(sorted(component_synonyms)), st.sampled_from([" ", "-", "_", " / ", "  "]), st.booleans())
def test_case_spaces_and_dashes_never_change_a_component(word, gap, shout):
    written = word.replace(" ", gap)
    assert to_component(f" {written.upper() if shout else written.title()}. ") == component_synonyms[word]


@steady
@given(st.text(max_size=30))
def test_any_text_is_a_known_component_or_none(text):
    found = to_component(text)
    assert found is None or found in COMPONENT_BY_NAME


@steady
@given(st.floats(-40, 120), st.floats(0, 60), st.floats(0, 20))
def test_a_hotter_day_never_asks_for_less_cooling(low, swing, hotter):
    cool, hot = cooling_degree_days(low + swing, low), cooling_degree_days(low + swing + hotter, low + hotter)
    assert 0 <= cool <= hot
    rounded = cooling_degree_days(low + swing, low, whole_degrees=True)
    assert abs(rounded - cool) <= 1.0
    assert rounded == int(rounded)


@steady
@given(st.floats(-10, 45), st.floats(0, 20))
def test_celsius_days_are_five_ninths_of_fahrenheit_days(low, swing):
    in_f = cooling_degree_days(fahrenheit(low + swing), fahrenheit(low))
    in_c = cooling_degree_days(low + swing, low, base=(65.0 - 32.0) / 1.8)
    assert in_c * 1.8 == pytest.approx(in_f, abs=1e-9)


additions = st.lists(
    st.builds(Addition, st.dates(dt.date(2020, 1, 1), dt.date(2024, 12, 31)), st.floats(0.5, 80.0)), max_size=8
)


@steady
@given(additions, st.floats(20.0, 300.0), st.floats(1.5, 4.0), st.randoms(use_true_random=False))
def test_leak_rates_ignore_order_and_fall_with_a_larger_charge(added, charge, factor, random):
    mixed = list(added)
    random.shuffle(mixed)
    as_of = dt.date(2024, 12, 31)
    rolling = rolling_leak_pct(added, charge, as_of=as_of)
    assert rolling_leak_pct(mixed, charge, as_of=as_of) == pytest.approx(rolling, rel=1e-9)
    assert rolling_leak_pct(added, charge * factor, as_of=as_of) == pytest.approx(rolling / factor, rel=1e-9)
    annual = annualized_leak_pct(added, charge)
    if annual is not None:
        assert annualized_leak_pct(mixed, charge) == pytest.approx(annual, rel=1e-9)
        assert annual > 0
