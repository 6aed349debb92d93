-- history.cause_event: one row a unit, day and kind of event that may point at a cause not looked at. Key: all columns.
-- kind: a component that failed (first report of its chain), or topped up | no fault found | breaker trip | kit added
-- (a hard-start kit put on a unit that had none) | early capacitor (a run capacitor that failed within a year).
-- history.cause_look: one row a unit, day and component that a visit concerned, whatever it meant: it was looked at.
-- history.cause_watched: one row a unit, its days at risk in the years looked back over.
-- history.cause_usual: one row a kind, how often a unit of the fleet has it (hard start: a unit with a kit). Key: kind.
-- Inputs: history.chain, open_no_fault_chain, visit, event, spell, position, observed, option, cause_since(day)
create or replace table history.cause_event as
with tripped as (
    select unit_id, day, day - lag(day) over (partition by unit_id order by day, visit_id) as gap
    from history.visit where call_type = 'breaker trip' and unit_id is not null
),
kit as (
    select e.unit_id, min(e.day) as day
    from history.event as e
    where e.component = 'hard start' and e.part_fitted and e.meaning = 'upgrade'
    group by e.unit_id
),
every as (
    select unit_id, failed_on as day, component as kind from history.chain where counted
    union
    select unit_id, started_on, 'no fault found' from history.open_no_fault_chain where counted
    union
    select unit_id, day, 'topped up' from history.visit where refrigerant_added_oz > 0 and unit_id is not null
    union
    select unit_id, day, 'breaker trip' from tripped
    where gap is null or gap > (select chain_days from history.option)
    union
    select unit_id, day, 'kit added' from kit
    union
    select unit_id, end_on, 'early capacitor' from history.spell
    where component = 'run capacitor' and ended = 'failed' and exit_age < 1
)
select unit_id, day, kind from every
where day >= (select day from history.cause_since) and day <= (select as_of from history.option);

create or replace table history.cause_look as
select unit_id, day, component, bool_or(part_fitted) as part_fitted from history.event group by unit_id, day, component;

create or replace table history.cause_watched as
select unit_id, sum(to_day - greatest(from_day, (select day from history.cause_since)))::bigint as days
from history.observed where to_day > (select day from history.cause_since) group by unit_id;

create or replace table history.cause_usual as
select e.kind, count(*) * 365.25 / greatest(any_value(case when e.kind = 'hard start' then d.kit_days else d.days end), 1) as per_unit_year
from history.cause_event as e
cross join (
    select coalesce(sum(w.days), 0) as days, coalesce(sum(w.days) filter (p.unit_id is not null), 0) as kit_days
    from history.cause_watched as w
    left join history.position as p on p.unit_id = w.unit_id and p.component = 'hard start'
) as d
group by e.kind;
