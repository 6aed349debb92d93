"""Build the histories of a loaded log: windows, units, time at risk, failure chains, spells of service.

Everything is worked out in SQL (``sql/*.sql``, in the order of ``STEPS``) into the schema ``history`` of an engine
of its own, so the loaded snapshot is never written to and two as-of days can stand side by side.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.answer import Provenance
from fleet.errors import AnalysisError
from fleet.settings import CHAIN_DAYS, DAYS_PER_YEAR
from fleet.store.database import Database
from fleet.store.snapshots import Store
from fleet.trade.components import COMPONENTS

if TYPE_CHECKING:
    import pandas as pd

STEPS = ("window", "unit", "visit", "observed", "event", "position", "chain", "fitting", "spell", "heat")


@dataclass(frozen=True, slots=True, kw_only=True)
class Histories:
    """The histories of a log as known on ``as_of``; ask them with ``database``.

    Tables (schema ``history``)
    ---------------------------
    covered, stretch, observed, exposure   stretches of days in which the log was kept, units served, were at risk
    unit, visit, part, reading             the clean tables with the unit in service that day
    event, chain, open_no_fault_chain      what each visit meant for a component; failures, one row a chain
    fitting, spell, spell_days             lives of parts, with the days at risk of each
    heat                                   cooling degree days by property and day

    Attributes
    ----------
    as_of : datetime.date
        The day the histories are known on.
    window : (datetime.date, datetime.date)
        First and last day of the log, over all properties, cut at ``as_of``.
    notes : tuple of str
        What a reader must know about the time at risk.
    excluded : mapping of str to int
        Visits and failures that count in no rate, with their reason.
    """

    database: Database
    as_of: dt.date
    window: tuple[dt.date, dt.date]
    chain_days: int
    notes: tuple[str, ...]
    excluded: Mapping[str, int]
    provenance: Provenance

    def spells(self) -> pd.DataFrame:
        """Return every spell of service with its unit's kind: one row a spell, ages in years."""
        return self.database.frame(_SPELLS)

    def chains(self) -> pd.DataFrame:
        """Return every failure: one row a chain of visits for one fault of one unit."""
        return self.database.frame(_CHAINS)

    def unit_years(self) -> float:
        """Return the fleet's time at risk in unit-years (365.25 days)."""
        days = self.database.value("select coalesce(sum(days), 0) from history.exposure")
        return float(days) / DAYS_PER_YEAR

    def close(self) -> None:
        """Let go of the engine."""
        self.database.close()


def build_histories(store: Store, *, as_of: dt.date | None = None, chain_days: int = CHAIN_DAYS) -> Histories:
    """Work out the histories of the log loaded in ``store``.

    Parameters
    ----------
    as_of : datetime.date, optional
        The day on which the log is read; later records are not known yet. Default: the window's last day.
    chain_days : int
        A further visit for the same fault within this many days belongs to it (1 to 365).

    Returns
    -------
    Histories

    Raises
    ------
    StoreError
        If nothing is loaded.
    AnalysisError
        If ``chain_days`` is out of range or ``as_of`` lies before the log begins.
    """
    if not 1 <= chain_days <= 365:
        msg = f"chain_days = {chain_days} must lie between 1 and 365"
        raise AnalysisError(msg)
    version = store.data_version()
    database = store.open()
    try:
        return _build(database, version, as_of, chain_days)
    except BaseException:
        database.close()
        raise


def _build(database: Database, version: str, as_of: dt.date | None, chain_days: int) -> Histories:
    first, last = _log_window(database)
    day = as_of or last
    if day < first:
        msg = f"as-of {day} lies before the log begins ({first})"
        raise AnalysisError(msg)
    database.run("create schema history")
    database.run("create table history.option (as_of date, recorded_by date, chain_days integer)")
    # on the log's own last day everything in it is known; before it, only what was written down by then
    recorded_by = day if day < last else dt.date(9999, 12, 31)
    database.run("insert into history.option values (?, ?, ?)", [day, recorded_by, chain_days])
    counted = [c.name for c in COMPONENTS if c.counts_as_failure]
    database.run("create table history.counted_component as select unnest(?) as component", [counted])
    parts = [c.name for c in COMPONENTS if c.counts_as_failure and c.is_part]
    database.run("create table history.part_component as select unnest(?) as component", [parts])
    for step in STEPS:
        database.run_file("fleet.histories", step)
    return Histories(
        database=database,
        as_of=day,
        window=(first, min(last, day)),
        chain_days=chain_days,
        notes=_notes(database),
        excluded=_excluded(database),
        provenance=Provenance(data_version=version),
    )


def _log_window(database: Database) -> tuple[dt.date, dt.date]:
    row = database.rows(
        """
        with kept as (
            select from_date as first_day, to_date as last_day from log.clean.coverage
            union all
            select min(reported_at)::date, max(reported_at)::date from log.clean.visit
            where property not in (select property from log.clean.coverage)
        )
        select min(first_day), max(last_day) from kept
        """
    )[0]
    if row[0] is None:
        msg = "the log holds no clean visit, so it has no window; see the load report"
        raise AnalysisError(msg)
    return row[0], row[1]


def _notes(database: Database) -> tuple[str, ...]:
    notes = []
    for name, first, last in database.rows(
        "select property, min(from_day), max(to_day) - 1 from history.covered "
        "where property not in (select property from log.clean.coverage) group by property order by property"
    ):
        where = f" of {name}" if name else ""
        notes.append(
            f"No coverage is given{where}: the log counts from its first report ({first}) to its last ({last})."
        )
    if database.value("select count(*) from log.landing.remark where kind = 'built'"):
        notes.append("Units were built from visits: units never visited are missing, so rates read high.")
    if not database.value(_START_KNOWN):
        notes.append("Whether units carry a hard-start kit isn't recorded: every unit counts as having one.")
    unknown = int(
        database.value("select count(*) from history.unit where installed_on is null and origin = 'equipment'")
    )
    if unknown:
        units = database.value("select count(*) from history.unit")
        notes.append(
            f"{unknown} of {units} units have no installation date; "
            "they count from the log's first day, at unknown age."
        )
    return tuple(notes)


def _excluded(database: Database) -> dict[str, int]:
    counts = database.rows(_EXCLUDED)
    return {reason: int(count) for reason, count in counts if count}


_START_KNOWN = """
select count(*) from log.landing.source
where list_has_any(columns, ['start_uf_min', 'start_uf_max']) and table_name in ('equipment', 'visits')
"""

_EXCLUDED = """
select 'visits outside every service period of their tag', count(*) from history.visit where unit_id is null
union all
select 'failures in time taken out (log gaps, vacancy)', count(*) from history.chain where not counted
union all
select 'parts fitted for no known reason, taken as censored', count(*) from history.event
where part_fitted and meaning = 'unknown'
"""

_SPELLS = """
select s.spell_id, u.equipment_id, s.unit_id, s.property, u.building, s.component, u.compressor_type, u.model_family,
    s.start_on, s.end_on, s.born_on, s.age_known, s.entry_age, s.exit_age, s.entry_age_at_most,
    coalesce(d.days, 0) / 365.25 as unit_years, s.ended, s.part_no, s.lot, s.fitted_visit_id, s.ended_visit_id,
    after.heat - before.heat as heat_f_days
from history.spell as s
join history.unit as u using (unit_id)
left join history.spell_days as d using (spell_id)
left join history.heat as before on before.property = s.property and before.date = s.start_on
left join history.heat as after on after.property = s.property and after.date = s.end_on
order by s.spell_id
"""

_CHAINS = """
select c.chain_id, u.equipment_id, c.unit_id, c.property, c.building, c.component, u.compressor_type, u.model_family,
    c.failed_on, c.last_day, c.n_visits, c.part_fitted, c.counted, c.first_visit_id
from history.chain as c join history.unit as u using (unit_id)
order by c.chain_id
"""
