"""What must hold of any plan: more stock never meets less, order of lines is irrelevant, units only scale."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst

from fleet.planning.levels import (
    chance_short,
    cheapest_levels,
    cost_of,
    expected_left,
    expected_short,
    levels_for_budget,
    levels_for_service,
    need_curves,
    refill_curves,
    service_of,
)

few = settings(derandomize=True, max_examples=60, deadline=None)

needs = npst.arrays(np.int32, st.tuples(st.integers(5, 40), st.integers(1, 4)), elements=st.integers(0, 8))
money = st.floats(0.5, 500.0)


def costs_of(draws, data):
    """Draw what a short and a left piece of each line cost."""
    lines = draws.shape[1]
    short = np.array(data.draw(st.lists(money, min_size=lines, max_size=lines)))
    left = np.array(data.draw(st.lists(money, min_size=lines, max_size=lines)))
    return short, left


def none(draws):
    return np.zeros(draws.shape[1], dtype=np.int64)


@few
@given(needs, st.data())
def test_more_stock_never_lowers_service(draws, data):
    curves = need_curves(draws)
    level = data.draw(npst.arrays(np.int64, draws.shape[1], elements=st.integers(0, 9)))
    more = level + data.draw(npst.arrays(np.int64, draws.shape[1], elements=st.integers(0, 3)))
    assert service_of(curves, more) >= service_of(curves, level) - 1e-12
    assert (chance_short(curves, more) <= chance_short(curves, level) + 1e-12).all()
    assert (expected_short(curves, more) <= expected_short(curves, level) + 1e-12).all()
    assert (expected_left(curves, more) >= expected_left(curves, level) - 1e-12).all()


@few
@given(needs)
def test_curves_are_survival_functions(draws):
    over = need_curves(draws).over
    assert ((over >= 0) & (over <= 1)).all()
    assert (np.diff(over, axis=1) <= 1e-12).all()
    assert np.allclose(over.sum(axis=1), draws.mean(axis=0))  # the mean is the sum of the survival function


@few
@given(needs, st.data())
def test_the_order_of_lines_is_irrelevant(draws, data):
    short, left = costs_of(draws, data)
    order = np.array(data.draw(st.permutations(range(draws.shape[1]))))
    level = cheapest_levels(need_curves(draws), short, left, none(draws))
    shuffled = cheapest_levels(need_curves(draws[:, order]), short[order], left[order], none(draws))
    assert (shuffled == level[order]).all()


@few
@given(needs, st.data())
def test_another_currency_changes_no_level_and_scales_the_cost(draws, data):
    short, left = costs_of(draws, data)
    curves = need_curves(draws)
    level = cheapest_levels(curves, short, left, none(draws))
    assert (cheapest_levels(curves, short * 4.0, left * 4.0, none(draws)) == level).all()  # a power of two is exact
    assert np.isclose(cost_of(curves, 4.0 * short, 4.0 * left, level), 4.0 * cost_of(curves, short, left, level))


@few
@given(needs, st.data())
def test_no_level_next_door_is_cheaper(draws, data):
    short, left = costs_of(draws, data)
    curves = need_curves(draws)
    level = cheapest_levels(curves, short, left, none(draws))
    best = cost_of(curves, short, left, level)
    for step in np.eye(draws.shape[1], dtype=np.int64):
        assert cost_of(curves, short, left, level + step) >= best - 1e-7
        if (level - step >= 0).all():
            assert cost_of(curves, short, left, level - step) >= best - 1e-7


@few
@given(needs, st.data(), st.floats(0.5, 0.995))
def test_a_service_floor_is_reached_and_never_below_the_free_plan(draws, data, service):
    short, left = costs_of(draws, data)
    curves = need_curves(draws)
    free = cheapest_levels(curves, short, left, none(draws))
    level = levels_for_service(curves, short, left, none(draws), service)
    assert service_of(curves, level) >= service - 1e-9
    assert (level >= free).all()


@few
@given(needs, st.data(), st.floats(0.0, 1.0))
def test_a_budget_is_kept_and_levels_stay_between_floor_and_wanted(draws, data, share):
    short, left = costs_of(draws, data)
    curves = need_curves(draws)
    wanted = cheapest_levels(curves, short, left, none(draws))
    price, pack = left, np.full(draws.shape[1], data.draw(st.integers(1, 4)))
    part = np.array(data.draw(st.lists(st.integers(0, 1), min_size=draws.shape[1], max_size=draws.shape[1])))
    price = np.resize(price, 2)[part]  # lines of one part have one price
    budget = share * float((wanted * price).sum())
    level = levels_for_budget(
        curves, short, left, none(draws), price=price, budget=budget, wanted=wanted, part=part, pack=pack
    )
    assert ((level >= 0) & (level <= wanted)).all()
    money_spent = sum(
        -(-int(level[part == p].sum()) // int(pack[0])) * int(pack[0]) * price[part == p][0] for p in set(part.tolist())
    )
    assert money_spent <= budget + 1e-6


@few
@given(needs, st.floats(1.0, 60.0), st.floats(1.0, 2.5))
def test_a_cycle_never_needs_more_than_the_season(draws, lead_days, peak):
    lead = np.full(draws.shape[1], lead_days)
    curves = refill_curves(np.random.default_rng(1), draws, lead_days=lead, season_days=183, peak=peak)
    assert (curves.cycle_mean <= draws.mean(axis=0) + 1e-12).all()
    assert (curves.repeats >= 1).all()
    assert ((curves.over >= 0) & (curves.over <= 1)).all()
