"""What the histories hold, component by component: positions, time at risk, failures, lives and how they ended."""

from __future__ import annotations

import pandas as pd

from fleet.answer import Answer, AnswerColumn
from fleet.histories.answers import answer_from
from fleet.histories.build import Histories
from fleet.settings import DAYS_PER_YEAR

COLUMNS = (
    AnswerColumn(name="property", kind="text", meaning="blank = all together"),
    AnswerColumn(name="component", kind="text", meaning="blank = units as a whole"),
    AnswerColumn(name="positions", kind="count", meaning="units that have it"),
    AnswerColumn(name="unit_years", kind="number", meaning="time at risk", unit="unit-years of 365.25 days"),
    AnswerColumn(name="failures", kind="count", meaning="failure chains in time at risk"),
    AnswerColumn(name="spells", kind="count", meaning="lives of parts, or what the log saw of them"),
    AnswerColumn(name="born_in_log", kind="count", meaning="of these, with a known beginning"),
    AnswerColumn(name="failed", kind="count", meaning="ended by failure"),
    AnswerColumn(name="weak", kind="count", meaning="ended while weak"),
    AnswerColumn(name="preventive", kind="count", meaning="ended as prevention"),
    AnswerColumn(name="other_end", kind="count", meaning="ended otherwise: upgrade, unknown, unit retired, log gap"),
    AnswerColumn(name="in_service", kind="count", meaning="still in service"),
    AnswerColumn(name="note", kind="text", meaning="what a reader must know"),
)

SPELL_COLUMNS = (
    AnswerColumn(name="spell_id", kind="count", meaning="number of the spell"),
    AnswerColumn(name="equipment_id", kind="text", meaning="the unit's tag"),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="component", kind="text", meaning="part position"),
    AnswerColumn(name="compressor_type", kind="text", meaning="of the unit"),
    AnswerColumn(name="model_family", kind="text", meaning="of the unit"),
    AnswerColumn(name="start_on", kind="date", meaning="first day seen"),
    AnswerColumn(name="end_on", kind="date", meaning="day it ended; for those in service the day after the log's last"),
    AnswerColumn(name="age_known", kind="text", meaning="known, bounded (at most the unit's age) or unknown"),
    AnswerColumn(name="entry_age", kind="number", meaning="age when first seen", unit="years"),
    AnswerColumn(name="exit_age", kind="number", meaning="age at its end", unit="years"),
    AnswerColumn(name="entry_age_at_most", kind="number", meaning="the unit's age when first seen", unit="years"),
    AnswerColumn(name="unit_years", kind="number", meaning="time at risk", unit="unit-years"),
    AnswerColumn(name="ended", kind="text", meaning="how it ended"),
    AnswerColumn(name="part_no", kind="text", meaning="the part, where it was fitted in the log"),
    AnswerColumn(name="lot", kind="text", meaning="its lot"),
    AnswerColumn(name="heat_f_days", kind="number", meaning="degree days lived through", unit="degree days F, base 65"),
)

CHAIN_COLUMNS = (
    AnswerColumn(name="chain_id", kind="count", meaning="number of the failure"),
    AnswerColumn(name="equipment_id", kind="text", meaning="the unit's tag"),
    AnswerColumn(name="property", kind="text", meaning="the complex"),
    AnswerColumn(name="building", kind="text", meaning="the building"),
    AnswerColumn(name="component", kind="text", meaning="what failed"),
    AnswerColumn(name="failed_on", kind="date", meaning="first report of the chain"),
    AnswerColumn(name="last_day", kind="date", meaning="last report of the chain"),
    AnswerColumn(name="n_visits", kind="count", meaning="visits of the chain"),
    AnswerColumn(name="part_fitted", kind="yesno", meaning="whether a part was fitted for it"),
    AnswerColumn(name="counted", kind="yesno", meaning="no where it fell into time taken out"),
    AnswerColumn(name="first_visit_id", kind="text", meaning="its first visit"),
)

METHOD = "Time at risk and lives of parts worked out in SQL from visits, parts and equipment."


def summarise_histories(histories: Histories) -> Answer:
    """Return one row a component: positions, time at risk, failures, lives and how they ended."""
    table = histories.database.frame(_SUMMARY, [DAYS_PER_YEAR, DAYS_PER_YEAR])
    return answer_from(
        histories, table, COLUMNS, name="histories", method=METHOD, n_used=int(table["failures"].iloc[-1])
    )


def list_spells(histories: Histories) -> Answer:
    """Return every life of a part, one row a spell."""
    table = histories.spells()
    return answer_from(histories, table, SPELL_COLUMNS, name="spells", method=METHOD, n_used=len(table))


def list_failures(histories: Histories) -> Answer:
    """Return every failure, one row a chain of visits."""
    table = histories.chains()
    for name in ("part_fitted", "counted"):
        table[name] = pd.Series(table[name]).map({True: "yes", False: "no"})
    return answer_from(histories, table, CHAIN_COLUMNS, name="failures", method=METHOD, n_used=len(table))


_SUMMARY = """
with lives as (
    select component, count(*) as spells, count(*) filter (age_known = 'known') as born_in_log,
        count(*) filter (ended = 'failed') as failed, count(*) filter (ended = 'weak') as weak,
        count(*) filter (ended = 'preventive') as preventive, count(*) filter (ended = 'in service') as in_service
    from history.spell group by component
),
failures as (select component, count(*) filter (counted) as failures from history.chain group by component),
fleet as (select count(*) as units, sum(days) as days from history.exposure),
named as (select component from lives union select component from failures)
select '' as property, n.component,
    coalesce((select count(*) from history.position as p where p.component = n.component), 0) as positions,
    case when n.component = 'hard start' then (select sum(days) from history.kit_exposure)
        else (select days from fleet) end / ? as unit_years,
    coalesce(f.failures, 0) as failures, coalesce(l.spells, 0) as spells, coalesce(l.born_in_log, 0) as born_in_log,
    coalesce(l.failed, 0) as failed, coalesce(l.weak, 0) as weak, coalesce(l.preventive, 0) as preventive,
    coalesce(l.spells - l.failed - l.weak - l.preventive - l.in_service, 0) as other_end,
    coalesce(l.in_service, 0) as in_service,
    case when l.spells is null then 'no part of it: counted in rates, ends no life' else '' end as note,
    0 as last
from named as n left join lives as l using (component) left join failures as f using (component)
union all
select '', '', (select units from fleet), (select days from fleet) / ?, (select sum(failures) from failures),
    (select sum(spells) from lives), (select sum(born_in_log) from lives), (select sum(failed) from lives),
    (select sum(weak) from lives), (select sum(preventive) from lives),
    (select sum(spells - failed - weak - preventive - in_service) from lives),
    (select sum(in_service) from lives), '', 1
order by last, component
"""
