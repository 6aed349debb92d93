"""Lots: parts born in the log, against the others at the same age."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.lot_screen import judge_lots
from fleet.analysis.lot_test import conditional_midp, early_failures_p, large_enough
from fleet.analysis.lots import COLUMNS, screen_lots
from fleet.analysis.poisson import benjamini_hochberg, compare_two_rates

WINDOW = [kept("2020-01-01", "2024-12-31")]


def fitted(key, tag, day, lot, why="preventive"):
    return (
        visit(key, tag, day, call_type="no cooling" if why == "failed" else "preventive maintenance"),
        {"visit_id": key, "part_no": "RC-1", "component": "run capacitor", "quantity": 1, "why": why, "lot": lot},
    )


def lot_log(bad_failures=8, good_failures=2, n=20):
    """Return two lots of n parts fitted in 2020; of each some fail half a year on and are replaced without a lot."""
    visits, parts, units = [], [], []
    for lot, failures in (("A", bad_failures), ("B", good_failures)):
        for k in range(n):
            tag = f"{lot}{k}"
            units.append(unit(tag, installed_on="2015-01-01"))
            events = [fitted(f"{tag}-1", tag, "2020-03-01", lot)]
            if k < failures:
                events.append(fitted(f"{tag}-2", tag, "2020-09-01", "", why="failed"))
            visits += [event[0] for event in events]
            parts += [event[1] for event in events]
    return {"visits": visits, "parts_used": parts, "equipment": units, "coverage": WINDOW}


def test_bad_lot_is_named_and_the_good_one_is_not(tmp_path):
    answer = screen_lots(histories_of(tmp_path, **lot_log()))
    table = answer.to_frame().set_index("lot")
    assert list(answer.to_frame().columns) == [column.name for column in COLUMNS]
    bad, good = table.loc["A"], table.loc["B"]
    assert (bad["fitted"], bad["failed"], bad["alert"]) == (20, 8, "yes")
    assert (good["fitted"], good["failed"], good["alert"]) == (20, 2, "no")
    assert bad["ratio"] == pytest.approx(bad["failed"] / bad["expected"])
    assert bad["failed_early"] == 8
    assert answer.excluded["parts fitted without a lot, used for comparison only"] == 10
    assert "RC-1 lot A" in answer.notes[0]


def test_expected_failures_by_hand(tmp_path):
    # one age band matters: lot B's parts fail 2 in their days from half a year to a year after fitting
    built = histories_of(tmp_path, **lot_log())
    row = screen_lots(built).to_frame().set_index("lot").loc["A"]
    # failures happen at 184 days, in the band 183 to 365: others = 18 lot-B parts the whole band + 2 for a day, and
    # 10 replacement parts the whole band; lot A = 12 the whole band + 8 for a day
    others = (18 + 10) * 182 + 2 * 1
    own = 12 * 182 + 8 * 1
    assert row["expected"] == pytest.approx(2 * own / others)


def test_weak_and_preventive_changes_are_no_failures(tmp_path):
    log = lot_log(bad_failures=0, good_failures=0)
    for k in range(10):
        event = fitted(f"W{k}", f"A{k}", "2020-09-01", "", why="weak")
        log["visits"].append(event[0])
        log["parts_used"].append(event[1])
    table = screen_lots(histories_of(tmp_path, **log)).to_frame()
    assert (table["failed"] == 0).all()
    assert (table["alert"] == "no").all()


def test_no_comparison_is_blank(tmp_path):
    visits, parts = zip(fitted("V1", "U1", "2020-03-01", "A"), strict=True)
    built = histories_of(tmp_path, visits=visits, parts_used=parts, equipment=[unit("U1")], coverage=WINDOW)
    row = screen_lots(built).to_frame().iloc[0]
    assert np.isnan(row["expected"])
    assert np.isnan(row["p_value"])
    assert row["alert"] == "no"
    assert row["note"] == "no other part of the component was at risk at this age"


def test_conditional_midp_is_the_two_rate_test_in_one_band():
    known = compare_two_rates(8, 12.0, 3, 20.0, method="mid-p")
    assert conditional_midp(np.array([11.0]), np.array([12.0 / 32.0]), 8) == pytest.approx(known.p_greater)


def test_conditional_midp_adds_independent_binomials():
    counts, shares = np.array([3.0, 4.0]), np.array([0.2, 0.6])
    naive = sum(
        stats.binom.pmf(i, 3, 0.2) * stats.binom.pmf(j, 4, 0.6) * (1.0 if i + j > 4 else 0.5)
        for i in range(4)
        for j in range(5)
        if i + j >= 4
    )
    assert conditional_midp(counts, shares, 4) == pytest.approx(naive)


def test_tests_that_cannot_show_anything_are_not_allowed_for():
    least = np.array([1e-6, 1e-4, 0.04, 0.2, np.nan])
    # K = 1: three could reach 0.10; K = 2: three could reach 0.05; K = 3: two could reach 0.033, no more than three
    assert large_enough(least, 0.10).tolist() == [True, True, False, False, False]
    assert large_enough(np.array([0.001, 0.9, 0.9]), 0.10).tolist() == [True, False, False]
    assert large_enough(np.zeros(0), 0.10).size == 0


def test_early_failures_count_more_than_late_ones():
    counts, shares = np.array([4.0, 6.0, 20.0]), np.array([0.1, 0.1, 0.1])
    early = early_failures_p(counts, shares, np.array([4.0, 1.0, 1.0]))
    late = early_failures_p(counts, shares, np.array([0.0, 1.0, 5.0]))
    assert early < 0.005 < late
    # as many as usual, and none at all
    assert early_failures_p(counts, shares, np.array([0.0, 1.0, 2.0])) > 0.3
    assert early_failures_p(counts, shares, np.zeros(3)) > 0.9


def test_p_values_hold_what_they_say():
    rng = np.random.default_rng(3)
    counts, shares = np.array([3.0, 5.0, 9.0, 14.0]), np.array([0.2, 0.15, 0.1, 0.05])
    p = np.array([early_failures_p(counts, shares, rng.binomial(counts.astype(int), shares) * 1.0) for _ in range(400)])
    for nominal in (0.02, 0.05, 0.10, 0.30):
        assert (p <= nominal).mean() <= nominal + 2.5 * np.sqrt(nominal / 400)


def test_beyond_the_draws_the_mean_of_one_bounds_the_p_value():
    # 30 of 30 failures in a lot that holds a tenth of the time: no draw shows it, and the chance is far smaller still
    counts, shares = np.array([30.0]), np.array([0.1])
    p = early_failures_p(counts, shares, counts)
    assert stats.binom.sf(29, 30, 0.1) < p < 1e-9


def test_a_bad_lot_does_not_hide_another(tmp_path):
    pieces = pd.DataFrame(
        [
            {"component": "contactor", "part_no": "C", "lot": lot, "spell_id": 100 * i + k, "band": 2,
             "failed": k < failures, "years": 0.5, "weight": 0.5}
            for i, (lot, failures) in enumerate([("A", 12), ("B", 8), ("C", 1), ("D", 1)]) for k in range(25)
        ]
    )  # fmt: skip
    judged = judge_lots(pieces).set_index("lot")
    assert judged["alert"].to_dict() == {"A": True, "B": True, "C": False, "D": False}
    # B is compared with C and D alone: two failures in their 25 unit-years, B has 12.5
    assert judged.loc["B", "expected"] == pytest.approx(1.0)
    assert judged.loc["C", "expected"] == pytest.approx(1.0)


def test_small_lots_say_so(tmp_path):
    log = lot_log()
    event = fitted("S1", "A19", "2024-12-01", "S")
    log["visits"].append(event[0])
    log["parts_used"].append(event[1])
    row = screen_lots(histories_of(tmp_path, **log)).to_frame().set_index("lot").loc["S"]
    assert row["alert"] == "no"
    assert row["note"] != ""


def test_false_alarms_stay_under_the_rate(tmp_path):
    # 12 like lots: over seeds, a fleet of them is named at all about as often as one false discovery in ten
    rng = np.random.default_rng(8)
    named = 0
    for _ in range(300):
        failures, years = rng.poisson(2.0, 12), np.full(12, 10.0)
        p = [
            conditional_midp(np.array([failures.sum()]), np.array([y / years.sum()]), n)
            for n, y in zip(failures, years, strict=True)
        ]
        named += bool(benjamini_hochberg(np.array(p), 0.10).any())
    assert 0.02 < named / 300 < 0.15


def test_smallest_log(tmp_path):
    answer = screen_lots(one_visit(tmp_path))
    assert answer.to_frame().empty
    assert "No part fitted in the log has a lot code" in answer.notes[0]
