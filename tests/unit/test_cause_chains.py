"""Chains of causes: one failure after another on a unit, beside what chance brings."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from small_logs import histories_of, kept, one_visit, unit, visit

from fleet.analysis.cause_chains import COLUMNS, count_chains, find_cause_chains
from fleet.analysis.seasonal_exposure import ordinal
from fleet.errors import AnalysisError

START, YEARS, UNITS = dt.date(2020, 1, 1), 4, 300
END = START + dt.timedelta(days=round(365.25 * YEARS) - 1)


def drawn(seed, *, following=0.0, rate=0.5):
    """Return failures of two components on units that differ; a share of capacitors takes the compressor along."""
    rng = np.random.default_rng(seed)
    rows, days = [], round(365.25 * YEARS)
    for number in range(UNITS):
        factor = rng.gamma(2.0, 0.5)
        for component, usual in (("run capacitor", rate), ("compressor", rate / 2)):
            for day in rng.integers(0, days, rng.poisson(usual * factor * YEARS)):
                rows.append((number, component, int(day)))
                if component == "run capacitor" and rng.random() < following:
                    rows.append((number, "compressor", int(day) + int(rng.integers(5, 120))))
    found = pd.DataFrame([row for row in rows if row[2] < days], columns=["unit_id", "component", "day"])
    on = pd.to_datetime(START) + pd.to_timedelta(found["day"], unit="D")
    found = found.assign(failed_on=on, last_day=on, service_to=pd.NaT, cost=100.0)
    return found.sort_values(["unit_id", "failed_on"]).drop(columns="day").reset_index(drop=True)


def stretches():
    first, after = pd.Timestamp(START), pd.Timestamp(END) + pd.Timedelta(days=1)
    return pd.DataFrame({"unit_id": range(UNITS), "from_day": first, "to_day": after})


def counted(failures):
    table = count_chains(failures, stretches(), as_of_day=ordinal(END), window_days=180)
    return table.set_index(["first", "times", "then"])


def test_by_chance_as_many_follow_as_expected():
    seen = expected = 0.0
    for seed in range(8):
        row = counted(drawn(seed)).loc[("run capacitor", "once", "compressor")]
        seen, expected = seen + row["followed"], expected + row["expected"]
        assert row["alert"] == "no"
    # units differ, and those that call for capacitors call for compressors too; that is no chain
    assert seen / expected == pytest.approx(1.0, abs=0.08)


def test_a_chain_that_is_there_is_named_and_the_way_back_is_not():
    table = counted(drawn(3, following=0.2))
    there = table.loc[("run capacitor", "once", "compressor")]
    assert there["alert"] == "yes"
    assert there["low"] > 1.2
    assert there["ratio"] == pytest.approx(there["followed"] / there["expected"])
    assert 20 < there["median_days"] < 100
    assert (there["chain_cost"], there["single_cost"]) == (200.0, 100.0)
    assert table.loc[("compressor", "once", "run capacitor"), "alert"] == "no"
    assert ("run capacitor", "twice within a year", "compressor") in table.index


def test_time_behind_a_first_failure_ends_with_the_unit_and_the_log():
    day = pd.Timestamp(END) - pd.Timedelta(days=10)
    two = pd.DataFrame(
        {"unit_id": [0, 1, 1], "component": ["contactor", "contactor", "wiring"],
         "failed_on": [day, day - pd.Timedelta(days=500), day - pd.Timedelta(days=400)],
         "service_to": [pd.NaT, day - pd.Timedelta(days=450), day - pd.Timedelta(days=450)], "cost": 1.0}
    )  # fmt: skip
    table = counted(two.assign(last_day=two["failed_on"]))
    # the wiring came after the unit had gone: not counted as following
    row = table.loc[("contactor", "once", "wiring")] if ("contactor", "once", "wiring") in table.index else None
    assert row is None or row["followed"] == 0


def test_a_log_gives_its_chains_with_their_money(tmp_path):
    visits = []
    for k in range(8):
        visits += [
            visit(f"A{k}", f"U{k}", f"2021-0{k % 4 + 3}-01", finding="run capacitor", labor_cost="60"),
            visit(f"B{k}", f"U{k}", f"2021-0{k % 4 + 5}-01", finding="compressor", labor_cost="400"),
        ]
    units = [unit(f"U{k}", installed_on="2015-01-01") for k in range(60)]
    log = {"visits": visits, "equipment": units, "coverage": [kept("2020-01-01", "2023-12-31")]}
    answer = find_cause_chains(histories_of(tmp_path, **log))
    table = answer.to_frame()
    assert list(table.columns) == [column.name for column in COLUMNS]
    top = table.iloc[0]
    assert (top["first"], top["then"], top["cases"], top["followed"]) == ("run capacitor", "compressor", 8, 8)
    assert (top["alert"], float(top["chain_cost"])) == ("yes", 460.0)
    assert top["median_days"] == pytest.approx(61, abs=1)
    assert "no proof of cause" in answer.notes[0]


def test_smallest_log_and_bad_window(tmp_path):
    built = one_visit(tmp_path)
    assert find_cause_chains(built).to_frame()["followed"].sum() == 0
    with pytest.raises(AnalysisError, match="window_days = 0 must lie between 1 and 730"):
        find_cause_chains(built, window_days=0)
