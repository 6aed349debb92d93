"""The demo log in a store of its own, once a session, and the app on it."""

import datetime as dt
import shutil
from pathlib import Path

import pytest

from fleet.ingest.load import load_log
from fleet.store.snapshots import Store

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


@pytest.fixture(scope="session")
def demo_store(tmp_path_factory):
    """A store with the demo log loaded as on 1 March 2026."""
    folder = tmp_path_factory.mktemp("demo")
    log = folder / "log"
    log.mkdir()
    for file in DEMO.glob("*.csv"):
        shutil.copy(file, log / file.name)
    store = Store(folder / "store")
    load_log(log, store, loaded_on=dt.date(2026, 3, 1))
    return store.path


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """Let a fixture know at its end whether its test failed, so that it can keep a picture."""
    report = yield
    if report.when == "call":
        item.failed = report.failed
    return report
