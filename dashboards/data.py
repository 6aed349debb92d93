"""What do the pages show? The only place that asks ``fleet``: every read is cached by data version and filters.

The open store is the one shared resource; answers are handed out as fresh copies, so that no session can change
another's. A new snapshot is seen at the next rerun, since every read begins with the manifest's snapshot name.
"""

from __future__ import annotations

import argparse
import dataclasses
import datetime as dt
import os
import sys
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd
import streamlit as st

from dashboards.launch import STORE_VARIABLE
from fleet.analysis.callbacks import count_callbacks
from fleet.analysis.cause_chains import find_cause_chains
from fleet.analysis.causes import look_for_causes
from fleet.analysis.cluster_power import weigh_scan
from fleet.analysis.cluster_watch import watch_clusters
from fleet.analysis.clusters import scan_clusters
from fleet.analysis.costs import count_costs
from fleet.analysis.drift import estimate_drift
from fleet.analysis.failure_trends import compare_trends
from fleet.analysis.home_waits import list_home_waits
from fleet.analysis.life import estimate_life
from fleet.analysis.life_curve import split_life_ends, trace_life_curve
from fleet.analysis.lots import screen_lots
from fleet.analysis.meters import estimate_meters
from fleet.analysis.months import compare_months
from fleet.analysis.new_parts import count_bad_new_parts
from fleet.analysis.part_waits import count_part_waits
from fleet.analysis.rates import estimate_rates
from fleet.analysis.refrigerant_order import forecast_refrigerant
from fleet.analysis.refrigerant_use import track_refrigerant
from fleet.analysis.repeated_events import describe_recurrence
from fleet.analysis.seasons import describe_seasons
from fleet.analysis.suspect_lots import list_claims, list_suspect_parts
from fleet.analysis.units import find_failing_units
from fleet.analysis.waits import measure_waits
from fleet.answer import Answer
from fleet.histories.build import Histories, build_histories
from fleet.ingest.loads import loads_table
from fleet.ingest.records import find_records, list_records
from fleet.ingest.refused_file import write_refused
from fleet.ingest.report import LoadReport, read_report
from fleet.planning.demand import DemandForecast, forecast_demand
from fleet.planning.stock import StockSettings, plan_stock
from fleet.present.chain_lines import list_callback_runs
from fleet.present.export import as_csv
from fleet.present.fans import fan_table
from fleet.present.one_unit import UnitHistory, read_failure_days, read_unit
from fleet.present.places import Places, read_places
from fleet.settings import STORE_FOLDER
from fleet.store.snapshots import Store

OF_SUSPECT_LOTS = ("suspect parts", "claims")

KEPT_FORECASTS = 3
"""Forecasts kept in memory for each open store; each holds thousands of futures."""


@dataclasses.dataclass(frozen=True, slots=True)
class Filters:
    """What every page shares: the property and building looked at (blank for all) and the day it is looked at from."""

    prop: str = ""
    building: str = ""
    as_of: dt.date | None = None


@dataclasses.dataclass(frozen=True, slots=True)
class Plan:
    """The dials of the order: the season, its summer, and how the shelves are kept."""

    from_date: dt.date | None = None
    to_date: dt.date | None = None
    summer: str = "any"
    shelves: str = "building"
    restock: str = "once"
    service_pct: float | None = None
    budget: float | None = None


@dataclasses.dataclass(frozen=True, slots=True)
class Order:
    """A stock plan as an answer, the share of part needs it meets from the shelf, and the season's expected cost."""

    answer: Answer
    service: float
    season_cost: float


class Desk:
    """One open snapshot as known on one day, with its latest forecasts; asked by one session at a time."""

    def __init__(self, histories: Histories) -> None:
        self.histories = histories
        self.lock = threading.RLock()
        self._forecasts: OrderedDict[tuple[Any, ...], DemandForecast] = OrderedDict()

    def forecast(self, plan: Plan) -> DemandForecast:
        """Return the forecast of a plan's season; made once, the oldest given up first."""
        key = (plan.from_date, plan.to_date, plan.summer)
        with self.lock:
            if key not in self._forecasts:
                self._forecasts[key] = forecast_demand(
                    self.histories,
                    from_date=plan.from_date,
                    to_date=plan.to_date,
                    summer=plan.summer,  # type: ignore[arg-type]
                )
                while len(self._forecasts) > KEPT_FORECASTS:
                    self._forecasts.popitem(last=False)
            self._forecasts.move_to_end(key)
            return self._forecasts[key]


ANSWERS: Mapping[str, Callable[[Histories], Answer]] = {
    "rates": estimate_rates,
    "building rates": lambda histories: estimate_rates(histories, by=("property", "building"), adjust=False),
    "units": find_failing_units,
    "trends": compare_trends,
    "drift": estimate_drift,
    "meters": estimate_meters,
    "callbacks": count_callbacks,
    "lots": screen_lots,
    "lives": estimate_life,
    "call-back runs": list_callback_runs,
    "cause chains": find_cause_chains,
    "clusters": scan_clusters,
    "watch": watch_clusters,
    "scan power": weigh_scan,
    "months": compare_months,
    "suspect parts": list_suspect_parts,
    "claims": list_claims,
    "new parts": count_bad_new_parts,
    "refrigerant": track_refrigerant,
    "refrigerant order": forecast_refrigerant,
    "waits": measure_waits,
    "waits by property": lambda histories: measure_waits(histories, by=("property",)),
    "part waits": count_part_waits,
    "home waits": list_home_waits,
    "seasons": describe_seasons,
    "costs": count_costs,
}
"""Answers about the past that pages ask for by name."""


def store_path() -> Path:
    """Return the store's folder: ``--store`` after ``--``, else the environment's, else the usual one."""
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    parser.add_argument("--store", type=Path)
    given, _ = parser.parse_known_args(sys.argv[1:])
    return given.store or Path(os.environ.get(STORE_VARIABLE) or STORE_FOLDER)


def version() -> str:
    """Return the current snapshot's name; StoreError, with the command to run, where nothing is loaded."""
    return Store(store_path()).data_version()


def answer(name: str, filters: Filters) -> Answer:
    """Return an answer about the past, whole; pages keep their rows with `fleet.present.places.only`."""
    return _unpacked(_answer(str(store_path()), version(), filters.as_of, name))


def places(filters: Filters) -> Places:
    """Return the properties, buildings and tags there are."""
    return _places(str(store_path()), version(), filters.as_of)


def demand(plan: Plan, filters: Filters) -> Answer:
    """Return the forecast of a plan's season as an answer."""
    return _unpacked(_demand(str(store_path()), version(), filters.as_of, plan))


def fan(plan: Plan, filters: Filters, key: tuple[str, ...]) -> pd.DataFrame:
    """Return the forecast summed to some columns, with its fan, for the property and building looked at."""
    return _fan(str(store_path()), version(), filters, plan, key)


def stock(plan: Plan, filters: Filters) -> Order:
    """Return the order of a plan: its lines, how well it serves and what the season is expected to cost."""
    parts, service, season_cost = _stock(str(store_path()), version(), filters.as_of, plan)
    return Order(answer=_unpacked(parts), service=service, season_cost=season_cost)


def unit(equipment_id: str, filters: Filters) -> UnitHistory:
    """Return the whole history of one tag."""
    return _unit(str(store_path()), version(), filters.as_of, equipment_id)


def failure_days(tags: tuple[str, ...], filters: Filters) -> pd.DataFrame:
    """Return the days on which these units failed."""
    return _failure_days(str(store_path()), version(), filters.as_of, tags)


def causes(tags: tuple[str, ...], filters: Filters) -> Answer:
    """Return what may be behind the repeats of these units that nobody has looked at yet."""
    return _unpacked(_causes(str(store_path()), version(), filters.as_of, tags))


def recurrence(component: str, clock: str, filters: Filters) -> Answer:
    """Return how many failures a unit has had by each date or age; component blank for all together."""
    return _unpacked(_recurrence(str(store_path()), version(), filters.as_of, component, clock))


def kind_rates(kind: str, clock: str, filters: Filters) -> Answer:
    """Return failure rates by compressor type or model family, per year in service or per year's heat."""
    return _unpacked(_kind_rates(str(store_path()), version(), filters.as_of, kind, clock))


def life(component: str, by: tuple[str, ...], filters: Filters) -> Answer:
    """Return how long one component's parts last, by property too where one is looked at."""
    return _unpacked(_life(str(store_path()), version(), filters.as_of, component, _within(by, filters)))


def life_curve(component: str, by: tuple[str, ...], filters: Filters) -> Answer:
    """Return the share of one component's parts still working by age, for the groups and lives of `life`."""
    return _unpacked(_life_curve(str(store_path()), version(), filters.as_of, component, _within(by, filters)))


def life_ends(component: str, filters: Filters) -> Answer:
    """Return what share of one component's parts each cause ends."""
    return _unpacked(_life_ends(str(store_path()), version(), filters.as_of, component, _within((), filters)))


def load_report() -> LoadReport:
    """Return the account of what was loaded."""
    return _load_report(str(store_path()), version())


def refused_file() -> str:
    """Return the refused records as a CSV text that can be corrected and loaded again."""
    return _refused_file(str(store_path()), version())


def changed_file() -> str:
    """Return every record kept with a change or a flag, with its own text, as a CSV text."""
    return as_csv(_changed(str(store_path()), version()))


def loads() -> pd.DataFrame:
    """Return the loads the store holds."""
    return loads_table(Store(store_path()))


# a desk given up here closes by itself when the last session lets go of it
@st.cache_resource(max_entries=4, show_spinner="Opening the log")
def _desk(path: str, snapshot: str, as_of: dt.date | None) -> Desk:
    return Desk(build_histories(Store(Path(path)), as_of=as_of))


@st.cache_data(max_entries=64, show_spinner="Reading the log")
def _answer(path: str, snapshot: str, as_of: dt.date | None, name: str) -> dict[str, Any]:
    desk = _desk(path, snapshot, as_of)
    # both begin with the lots, which take seconds and are mostly known by then
    known = {"lots": _unpacked(_answer(path, snapshot, as_of, "lots"))} if name in OF_SUSPECT_LOTS else {}
    with desk.lock:
        return _packed(ANSWERS[name](desk.histories, **known))


@st.cache_data(max_entries=8, show_spinner=False)
def _places(path: str, snapshot: str, as_of: dt.date | None) -> Places:
    return read_places(_desk(path, snapshot, as_of).histories)


@st.cache_data(max_entries=16, show_spinner="Working out the season's needs")
def _demand(path: str, snapshot: str, as_of: dt.date | None, plan: Plan) -> dict[str, Any]:
    return _packed(_desk(path, snapshot, as_of).forecast(plan).answer)


@st.cache_data(max_entries=64, show_spinner="Working out the season's needs")
def _fan(path: str, snapshot: str, filters: Filters, plan: Plan, key: tuple[str, ...]) -> pd.DataFrame:
    forecast = _desk(path, snapshot, filters.as_of).forecast(plan)
    return fan_table(forecast, key, prop=filters.prop, building=filters.building)


@st.cache_data(max_entries=32, show_spinner="Working out the order")
def _stock(path: str, snapshot: str, as_of: dt.date | None, plan: Plan) -> tuple[dict[str, Any], float, float]:
    desk = _desk(path, snapshot, as_of)
    with desk.lock:
        settings = StockSettings(
            service=None if plan.service_pct is None else plan.service_pct / 100,
            budget=plan.budget,
            shelves=plan.shelves,  # type: ignore[arg-type]
            restock=plan.restock,  # type: ignore[arg-type]
        )
        planned = plan_stock(desk.histories, desk.forecast(plan), settings)
        return _packed(planned.answer), planned.service, planned.season_cost


@st.cache_data(max_entries=64, show_spinner=False)
def _unit(path: str, snapshot: str, as_of: dt.date | None, equipment_id: str) -> UnitHistory:
    return read_unit(_desk(path, snapshot, as_of).histories, equipment_id)


@st.cache_data(max_entries=16, show_spinner=False)
def _failure_days(path: str, snapshot: str, as_of: dt.date | None, tags: tuple[str, ...]) -> pd.DataFrame:
    return read_failure_days(_desk(path, snapshot, as_of).histories, list(tags))


@st.cache_data(max_entries=64, show_spinner="Looking for causes")
def _causes(path: str, snapshot: str, as_of: dt.date | None, tags: tuple[str, ...]) -> dict[str, Any]:
    desk = _desk(path, snapshot, as_of)
    with desk.lock:
        return _packed(look_for_causes(desk.histories, tags))


@st.cache_data(max_entries=64, show_spinner=False)
def _recurrence(path: str, snapshot: str, as_of: dt.date | None, component: str, clock: str) -> dict[str, Any]:
    desk = _desk(path, snapshot, as_of)
    with desk.lock:
        return _packed(describe_recurrence(desk.histories, component=component or None, clock=clock))  # type: ignore[arg-type]


@st.cache_data(max_entries=16, show_spinner="Comparing the kinds")
def _kind_rates(path: str, snapshot: str, as_of: dt.date | None, kind: str, clock: str) -> dict[str, Any]:
    desk = _desk(path, snapshot, as_of)
    with desk.lock:
        return _packed(estimate_rates(desk.histories, by=(kind,), clock=clock))  # type: ignore[arg-type]


@st.cache_data(max_entries=128, show_spinner="Working out how long they last")
def _life(path: str, snapshot: str, as_of: dt.date | None, component: str, by: tuple[str, ...]) -> dict[str, Any]:
    desk = _desk(path, snapshot, as_of)
    with desk.lock:
        return _packed(estimate_life(desk.histories, component=component, by=by))


@st.cache_data(max_entries=128, show_spinner="Drawing the curves")
def _life_curve(path: str, snapshot: str, as_of: dt.date | None, component: str, by: tuple[str, ...]) -> dict[str, Any]:
    # which lives the answer could use decides which the curve may
    births = str(_life(path, snapshot, as_of, component, by)["settings"]["births"])
    desk = _desk(path, snapshot, as_of)
    with desk.lock:
        return _packed(trace_life_curve(desk.histories, component, by=by, births=births))


@st.cache_data(max_entries=128, show_spinner=False)
def _life_ends(path: str, snapshot: str, as_of: dt.date | None, component: str, by: tuple[str, ...]) -> dict[str, Any]:
    desk = _desk(path, snapshot, as_of)
    with desk.lock:
        return _packed(split_life_ends(desk.histories, component, by=by))


def _within(by: tuple[str, ...], filters: Filters) -> tuple[str, ...]:
    """Return the columns to group by, so that the property looked at can be told from the others."""
    return ("property", *by) if filters.prop and "property" not in by else by


@st.cache_data(max_entries=4, show_spinner=False)
def _load_report(path: str, snapshot: str) -> LoadReport:
    with Store(Path(path)).open() as database:
        return read_report(database, data_version=snapshot, loaded=False)


@st.cache_data(max_entries=2, show_spinner=False)
def _refused_file(path: str, snapshot: str) -> str:
    return write_refused(find_records(Store(Path(path)), "quarantined"))


@st.cache_data(max_entries=2, show_spinner=False)
def _changed(path: str, snapshot: str) -> pd.DataFrame:
    return list_records(Store(Path(path)), "kept")


def _packed(found: Answer) -> dict[str, Any]:
    """Take an answer apart into plain parts: its closed mappings can't be kept by the cache."""
    parts = {item.name: getattr(found, item.name) for item in dataclasses.fields(found)}
    return {name: dict(part) if isinstance(part, Mapping) else part for name, part in parts.items()}


def _unpacked(parts: dict[str, Any]) -> Answer:
    return Answer(**parts)
