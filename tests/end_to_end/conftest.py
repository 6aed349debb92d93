"""The demo log, loaded once a session into a temporary store."""

import dataclasses
import datetime as dt
import functools
import importlib
import io
import json
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import pytest

from fleet.cli import main
from fleet.histories.build import Histories, build_histories
from fleet.ingest.load import LoadOptions, load_log
from fleet.store.snapshots import Store

DATA_DEMO = Path(__file__).resolve().parents[2] / "data_demo"
LOADED_ON = dt.date(2026, 3, 15)


@dataclass(frozen=True)
class Ran:
    """What a command did."""

    code: int
    out: str
    err: str


@pytest.fixture(scope="session")
def demo_log():
    """Return the folder of the demo log."""
    return DATA_DEMO


@pytest.fixture(scope="session")
def demo_key():
    """Return the answer key of the demo log."""
    return json.loads((DATA_DEMO / "answer_key.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def demo_loaded(tmp_path_factory):
    """Load the demo log; return its store and the account of the load."""
    store = Store(tmp_path_factory.mktemp("demo") / "store")
    report = load_log(DATA_DEMO, store, loaded_on=LOADED_ON, options=LoadOptions(as_of=LOADED_ON))
    return store, report


@pytest.fixture(scope="session")
def demo_store(demo_loaded):
    """Return the store the demo log is loaded in; read only, please."""
    return demo_loaded[0]


@pytest.fixture(scope="session")
def demo_histories(demo_store):
    """Return the histories of the demo log."""
    histories = build_histories(demo_store)
    yield histories
    histories.close()


ANSWERS = {
    "fleet.analysis.drift": ("estimate_drift",),
    "fleet.analysis.callbacks": ("count_callbacks",),
    "fleet.analysis.clusters": ("scan_clusters",),
    "fleet.analysis.lots": ("screen_lots",),
    "fleet.analysis.units": ("find_failing_units",),
    "fleet.analysis.cause_chains": ("find_cause_chains",),
    "fleet.analysis.cluster_watch": ("watch_clusters",),
    "fleet.analysis.cluster_power": ("weigh_scan",),
    "fleet.analysis.suspect_lots": ("list_suspect_parts", "list_claims"),
    "fleet.planning.demand": ("forecast_demand",),
}
"""Answers that take seconds; each is worked out once a session for the same question to the same log."""

DEFAULTS = (None, 0.90, 30, "any")
"""Defaults of their options: asked for or left out, the question is the same."""


@pytest.fixture(scope="session")
def worked_out(demo_store, demo_histories):
    """Return stand-ins for the slow functions: the real ones, with a memory for the demo's histories."""
    memory = {}

    def remembering(function):
        @functools.wraps(function)
        def ask(histories, **asked):
            given = sorted((name, str(value)) for name, value in asked.items() if value not in DEFAULTS)
            key = (function.__name__, *given)
            if histories is not demo_histories and not isinstance(histories, _KeptOpen):
                return function(histories, **asked)
            if key not in memory:
                memory[key] = function(demo_histories, **asked)
            return memory[key]

        return ask

    def shared_histories(store, *, as_of=None, chain_days=30):
        if store.path.resolve() != demo_store.path.resolve() or as_of is not None or chain_days != 30:
            return build_histories(store, as_of=as_of, chain_days=chain_days)
        return _KeptOpen(**{f.name: getattr(demo_histories, f.name) for f in dataclasses.fields(demo_histories)})

    stand_ins = {("fleet.histories.build", "build_histories"): shared_histories}
    for module, names in ANSWERS.items():
        for name in names:
            stand_ins[module, name] = remembering(getattr(importlib.import_module(module), name))
    return stand_ins


@pytest.fixture(scope="session")
def demo_demand(demo_histories, worked_out):
    """Return the demo's forecast for its next summer."""
    return worked_out["fleet.planning.demand", "forecast_demand"](demo_histories)


class _KeptOpen(Histories):
    """The demo's histories, which a command doesn't close."""

    def close(self):
        """Stay open for the next command."""


@pytest.fixture
def dogdays(monkeypatch, worked_out):
    """Return a function that runs a command line in this process: exit code, output, error output.

    On the demo store the histories and the slow answers are worked out once a session.
    """
    for (module, name), stand_in in worked_out.items():
        monkeypatch.setattr(f"{module}.{name}", stand_in)

    def run(*words):
        monkeypatch.setattr(sys, "argv", ["dogdays", *map(str, words)])
        out, err, code = io.StringIO(), io.StringIO(), 0
        with redirect_stdout(out), redirect_stderr(err):
            try:
                main()
            except SystemExit as stop:
                code = int(stop.code or 0)
        return Ran(code=code, out=out.getvalue(), err=err.getvalue())

    return run
