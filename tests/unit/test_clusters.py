"""Clusters: the scan's windows, its baseline, its false alarms, and the answer."""

import datetime as dt
import itertools

import numpy as np
import pytest
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.clusters import COLUMNS, scan_clusters
from fleet.analysis.scan import (
    LEAST_EXPECTED,
    candidate_windows,
    drawn_maxima,
    log_likelihood_ratio,
    running_shares,
)
from fleet.errors import AnalysisError


def naive_best(building, week, shares, max_weeks):
    """Look at every window of every building, whether or not it begins and ends on a failure."""
    total, best = building.size, (0.0, None)
    share = shares / shares.sum(axis=1, keepdims=True)
    for b in range(shares.shape[0]):
        own = week[building == b]
        for first, length in itertools.product(range(shares.shape[1]), range(1, max_weeks + 1)):
            last = min(first + length, shares.shape[1])
            seen = int(((own >= first) & (own < last)).sum())
            expected = max(own.size * share[b, first:last].sum(), LEAST_EXPECTED)
            llr = float(log_likelihood_ratio(seen, expected, total))
            if seen >= 3 and llr > best[0]:
                best = (llr, (b, seen))
    return best


@pytest.mark.parametrize("seed", range(5))
def test_windows_on_failures_hold_the_best_window(seed):
    rng = np.random.default_rng(seed)
    building, week = rng.integers(0, 3, 25), rng.integers(0, 30, 25)
    shares = rng.uniform(0.5, 2.0, (3, 30))
    windows = candidate_windows(building, week, running_shares(shares), max_weeks=6)
    llr, (at, seen) = naive_best(building, week, shares, 6)
    best = int(windows.llr.argmax())
    assert windows.llr[best] == pytest.approx(llr)
    assert (windows.building[best], windows.observed[best]) == (at, seen)
    assert (windows.last_week - windows.first_week < 6).all()


def test_nothing_raised_has_no_ratio():
    assert log_likelihood_ratio(3, 3.0, 10) == 0.0
    assert log_likelihood_ratio(2, 3.0, 10) == 0.0
    assert log_likelihood_ratio(10, 4.0, 10) == pytest.approx(10 * np.log(2.5))


def test_expected_failures_of_a_building_add_up_to_its_own():
    running = running_shares(np.array([[1.0, 2.0, 3.0], [0.0, 0.0, 0.0]]))
    assert running[:, -1] == pytest.approx([1.0, 1.0])
    assert running[1] == pytest.approx([0, 1 / 3, 2 / 3, 1])


def test_draws_are_seeded_and_small_windows_are_none():
    building, running = np.repeat([0, 1], 10), running_shares(np.ones((2, 50)))
    one = drawn_maxima(building, running, max_weeks=4, rng=np.random.default_rng(1), replicates=50)
    two = drawn_maxima(building, running, max_weeks=4, rng=np.random.default_rng(1), replicates=50)
    assert one.tolist() == two.tolist()
    none = drawn_maxima(np.array([0, 1]), running, max_weeks=4, rng=np.random.default_rng(1), replicates=9)
    assert (none == 0).all()


def spread_log(seed, *, heap=0, years=4, buildings=6, per_building=10):
    """Return failures that follow the summer in every building, with a heap of contactors in building 3 if asked."""
    rng = np.random.default_rng(seed)
    start = dt.date(2021, 1, 1)
    days = np.arange(round(365.25 * years))
    season = 1.0 + 4.0 * np.clip(np.cos((days % 365.25 - 200) / 365.25 * 2 * np.pi), 0, None)
    visits = []

    def add(b, n, day, component):
        visits.append(
            visit(f"V{len(visits)}", f"B{b}-{n}", f"{start + dt.timedelta(days=int(day))}", finding=component)
        )

    for b, component in itertools.product(range(buildings), ("contactor", "wiring", "fan motor", "drain clog")):
        for day in rng.choice(days, rng.poisson(8.0 * (2.0 if b == 0 else 1.0)), p=season / season.sum()):
            add(b, int(rng.integers(per_building)), day, component)
    for k in range(heap):
        add(3, k, 900 + 4 * k, "contactor")  # from 20 June 2023, a month long
    units = [unit(f"B{b}-{n}", building=str(b)) for b in range(buildings) for n in range(per_building)]
    return {"visits": visits, "equipment": units, "coverage": [kept("2021-01-01", "2024-12-31")]}


def test_planted_heap_is_named_with_its_place_and_weeks(tmp_path):
    answer = scan_clusters(histories_of(tmp_path, **spread_log(1, heap=8)), replicates=199)
    table = answer.to_frame()
    assert list(table.columns) == [column.name for column in COLUMNS]
    named = table.loc[table["alert"] == "yes"]
    assert len(named) == 1
    row = named.iloc[0]
    assert (row["building"], row["component"]) == ("3", "contactor")
    assert row["from_date"] <= dt.date(2023, 6, 25)
    assert row["to_date"] >= dt.date(2023, 7, 12)
    assert row["observed"] >= 8
    assert row["ratio"] == pytest.approx(row["observed"] / row["expected"])
    assert row["p_value"] <= 0.05
    assert (table.loc[table["alert"] == "no", "note"] == "chance makes such a heap: not named").all()
    assert any("threefold quarter is mostly invisible" in note for note in answer.notes)


def test_summers_and_a_bad_building_are_no_clusters(tmp_path):
    alarms = 0
    for seed in range(6):
        answer = scan_clusters(histories_of(tmp_path / str(seed), **spread_log(seed + 20)), replicates=99)
        alarms += (answer.to_frame()["alert"] == "yes").any()
    assert alarms <= 1  # one in twenty is expected


def test_windows_listed_do_not_overlap(tmp_path):
    table = scan_clusters(histories_of(tmp_path, **spread_log(2, heap=10)), replicates=99).to_frame()
    for _, group in table.groupby(["property", "building", "component"]):
        ordered = group.sort_values("from_date")
        assert (ordered["from_date"].iloc[1:].to_numpy() > ordered["to_date"].iloc[:-1].to_numpy()).all()


def test_same_seed_same_answer(tmp_path):
    built = histories_of(tmp_path, **spread_log(3))
    one, two = scan_clusters(built, replicates=49).to_frame(), scan_clusters(built, replicates=49).to_frame()
    assert one.equals(two)
    with pytest.raises(AnalysisError, match="replicates = 3 must lie between 19 and 99999"):
        scan_clusters(built, replicates=3)


def test_smallest_log(tmp_path):
    answer = scan_clusters(one_visit(tmp_path))
    assert answer.to_frame().empty
    assert answer.n_used == 0
