"""The look at what fails now, and what the scans could see at all."""

import datetime as dt

import numpy as np
import pytest
from scipy import stats
from small_logs import histories_of, one_visit
from test_clusters import spread_log

from fleet.analysis.cluster_power import COLUMNS as POWER_COLUMNS
from fleet.analysis.cluster_power import weigh_scan
from fleet.analysis.cluster_watch import COLUMNS, FALSE_ALARMS_A_YEAR, watch_clusters
from fleet.analysis.scan_power import RATIOS, chance_found, smallest_found
from fleet.analysis.scan_recent import (
    ALIKE,
    chance_found_now,
    drawn_recent_maxima,
    level_ratio,
    recent_baseline,
    recent_windows,
)
from fleet.errors import AnalysisError


def even(buildings=8, weeks=60, a_week=0.2):
    return np.full((buildings, weeks), a_week)


def test_baseline_takes_the_level_from_the_time_before_only():
    seen = np.zeros((3, 20))
    seen[:, :10] = [[1.0], [1.0], [1.0]]
    usual = even(3, 20, 1.0)
    before = recent_baseline(seen, usual, max_weeks=10)
    seen[0, 15] = 50.0  # in the reach: changes nothing of what is expected there
    after = recent_baseline(seen, usual, max_weeks=10)
    assert after.expected.tolist() == before.expected.tolist()
    # a failure a week before, so one a week to come: 1, 2, ... for the last weeks
    assert before.expected[1] == pytest.approx(np.arange(1.0, 11.0))
    assert (before.shape <= ALIKE + 10).all()


def test_unlike_buildings_keep_their_own_level():
    seen = np.zeros((6, 60))
    seen[:, :47] = np.array([0.2, 0.2, 0.2, 0.2, 0.2, 2.0])[:, None]
    baseline = recent_baseline(np.round(seen * 5), even(6, 60), max_weeks=13)
    assert baseline.level[5] > 4 * baseline.level[0]
    assert baseline.expected[5, -1] > 4 * baseline.expected[0, -1]


def test_windows_begin_on_a_failure_and_end_with_the_last_week():
    seen = np.zeros((2, 30))
    seen[0, [5, 22, 26, 29]] = [4, 1, 1, 2]
    windows = recent_windows(seen, recent_baseline(seen, even(2, 30, 1.0), max_weeks=13))
    # two in the last week alone are too few; three from week 26 on, four from week 22 on
    assert windows.first_week.tolist() == [26, 22]
    assert windows.observed.tolist() == [3, 4]
    assert windows.last_week.tolist() == [29, 29]
    assert windows.building.tolist() == [0, 0]


def test_ratio_goes_over_into_poisson_where_the_level_is_known():
    # c log(c/e) − (c − e), Kulldorff's ratio where all else is known
    assert level_ratio(12, np.array(4.0), np.array(1e9)) == pytest.approx(12 * np.log(3.0) - 8.0, abs=1e-4)
    assert level_ratio(12, np.array(4.0), np.array(2.0)) < level_ratio(12, np.array(4.0), np.array(50.0))
    assert level_ratio(4, np.array(4.0), np.array(2.0)) == 0.0


def test_chance_found_now_is_what_drawn_fleets_show():
    rng = np.random.default_rng(4)
    seen = rng.poisson(even(8, 104, 0.5)).astype(float)
    baseline = recent_baseline(seen, even(8, 104), max_weeks=13)
    critical = float(np.quantile(drawn_recent_maxima(baseline, rng=rng, replicates=999), 0.95))
    told = chance_found_now(baseline, ratio=3.0, critical=critical)[2]
    level = rng.gamma(baseline.shape[2], baseline.level[2] / baseline.shape[2], 4000)
    counts = rng.poisson(3.0 * level * baseline.usual[2].sum())
    expected, shape = np.full(4000, baseline.expected[2, -1]), np.full(4000, baseline.shape[2])
    share = (level_ratio(counts, expected, shape) >= critical).mean()
    assert told == pytest.approx(share, abs=0.03)


def test_chance_found_grows_with_the_heap_and_its_usual():
    some = [chance_found(2.0, 20.0, ratio=ratio, elsewhere=200.0, critical=6.0) for ratio in (2.0, 4.0, 8.0)]
    assert some[0] < some[1] < some[2]
    more = chance_found([1.0, 4.0, 8.0], [10.0, 40.0, 80.0], ratio=3.0, elsewhere=400.0, critical=6.0)
    assert (np.diff(more) > 0).all()
    assert chance_found(0.0, 10.0, ratio=5.0, elsewhere=90.0, critical=6.0) == 0.0


def test_chance_found_by_hand():
    # nothing critical: three failures or more are enough
    told = float(chance_found(1.0, 1e-9, ratio=4.0, elsewhere=1e6, critical=-1.0))
    assert told == pytest.approx(stats.poisson.sf(2, 4.0), abs=1e-6)


def test_smallest_found_is_mostly_found_and_the_next_smaller_is_not():
    ratio = smallest_found(2.0, 20.0, elsewhere=200.0, critical=6.0)
    below = RATIOS[np.flatnonzero(ratio == RATIOS)[0] - 1]
    assert chance_found(2.0, 20.0, ratio=ratio, elsewhere=200.0, critical=6.0) >= 0.8
    assert chance_found(2.0, 20.0, ratio=float(below), elsewhere=200.0, critical=6.0) < 0.8
    assert smallest_found(0.0, 1.0, elsewhere=5.0, critical=6.0) == float("inf")


def test_a_heap_going_on_is_named_and_one_long_ended_is_not(tmp_path):
    log = spread_log(1, heap=8)  # contactors in building 3 from 20 June 2023, every fourth day
    during = watch_clusters(histories_of(tmp_path / "a", **log, as_of=dt.date(2023, 7, 20))).to_frame()
    assert list(during.columns) == [column.name for column in COLUMNS]
    named = during.loc[during["alert"] == "yes"]
    assert named[["building", "component"]].to_numpy().tolist() == [["3", "contactor"]]
    assert named["years_between"].iloc[0] > 1 / FALSE_ALARMS_A_YEAR
    assert named["to_date"].iloc[0] == dt.date(2023, 7, 20)
    later = watch_clusters(histories_of(tmp_path / "b", **log, as_of=dt.date(2024, 7, 20))).to_frame()
    assert not ((later["alert"] == "yes") & (later["building"] == "3")).any()


def test_the_promise_must_be_within_reach_of_the_draws(tmp_path):
    built = one_visit(tmp_path)
    with pytest.raises(AnalysisError, match="replicates = 99 be at least"):
        watch_clusters(built, replicates=99)
    with pytest.raises(AnalysisError, match="looks_a_year = 0"):
        watch_clusters(built, looks_a_year=0.0)


def test_a_short_log_says_that_nothing_can_be_said(tmp_path):
    answer = watch_clusters(one_visit(tmp_path))
    assert answer.to_frame().empty
    assert answer.notes[0].startswith("Not enough data")


def test_power_is_small_where_failures_are_few(tmp_path):
    built = histories_of(tmp_path, **spread_log(3))
    threefold = weigh_scan(built, replicates=199)
    table = threefold.to_frame()
    assert list(table.columns) == [column.name for column in POWER_COLUMNS]
    assert len(table) == 6 * 4  # every building and component failed at all
    assert (table["chance_found"] < 0.5).all()
    assert table["smallest_ratio"].dropna().gt(3.0).all()
    assert "Where it is small, no alert says nothing." in threefold.notes[0]
    tenfold = weigh_scan(built, ratio=10.0, replicates=199).to_frame()
    assert tenfold["chance_found"].mean() > 5 * table["chance_found"].mean()
    with pytest.raises(AnalysisError, match="ratio = 1"):
        weigh_scan(built, ratio=1.0)
