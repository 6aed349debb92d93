"""The demo log as one SQLite file gives the answers of its CSV files."""

import subprocess
import sys

import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from fleet.analysis.costs import count_costs
from fleet.analysis.rates import estimate_rates
from fleet.histories.build import build_histories
from fleet.histories.summary import list_failures, list_spells
from fleet.ingest.load import LoadOptions, load_log
from fleet.store.snapshots import Store


@pytest.fixture(scope="module")
def loaded(demo_log, demo_loaded, tmp_path_factory):
    folder = tmp_path_factory.mktemp("sqlite")
    file = folder / "log.sqlite"
    made = subprocess.run(
        [sys.executable, demo_log / "make_demo.py", "--sqlite", file], capture_output=True, text=True, check=False
    )
    assert made.returncode == 0, made.stderr
    asked = demo_loaded[1]
    store = Store(folder / "store")
    report = load_log(file, store, loaded_on=pd.Timestamp("2026-03-15").date(), options=LoadOptions())
    histories = build_histories(store)
    yield asked, report, histories
    histories.close()


def test_the_same_records_are_clean_refused_double_and_blank(loaded):
    from_csv, from_sqlite, _ = loaded
    for standing in ("records", "clean", "quarantined", "duplicate", "blank"):
        by_table = [
            pd.Series({a.table: 0 for a in report.accounts}).add(
                pd.DataFrame([(a.table, getattr(a, standing)) for a in report.accounts]).groupby(0)[1].sum()
            )
            for report in (from_csv, from_sqlite)
        ]
        assert by_table[0].sort_index().to_dict() == by_table[1].sort_index().to_dict(), standing


@pytest.mark.parametrize("ask", [estimate_rates, count_costs, list_spells, list_failures])
def test_the_same_answers(loaded, demo_histories, ask):
    assert_frame_equal(ask(loaded[2]).to_frame(), ask(demo_histories).to_frame())
