-- history.chain: one row a failure: one component on one chain of visits, dated at its first report. Key: chain_id.
-- A further visit (no spring round) for the same component, or after "no fault found", at most chain_days after the
-- report of the visit before it belongs to the chain. Days are calendar days.
-- Inputs: history.event, history.no_fault, history.observed, history.option
create table history.no_fault_visit as
with linked as (
    select *, coalesce(day - lag(day) over (partition by unit_id order by reported_at, visit_id)
        <= (select chain_days from history.option), false) as follows
    from history.no_fault
)
select *, sum(case when follows then 0 else 1 end) over (partition by unit_id order by reported_at, visit_id) as n,
    min(day) over (partition by unit_id) as first_day
from linked;

create table history.no_fault_chain as
select unit_id, n, min(day) as started_on, max(day) as ended_on, count(*) as n_visits,
    arg_min(visit_id, (reported_at, visit_id)) as visit_id
from history.no_fault_visit group by unit_id, n;

create table history.chain_visit as
with placed as (
    select e.*, lag(e.day) over same_part as day_before, lag(e.meaning) over same_part as meaning_before
    from history.event as e
    where not (e.is_round and e.meaning <> 'failed')
    window same_part as (partition by e.unit_id, e.component order by e.reported_at, e.visit_id)
),
-- the report of the last "no fault found" at most chain_days before this visit
after_no_fault as (
    select p.visit_id, p.component, max(n.day) as no_fault_day, arg_max(n.n, n.day) as no_fault_n
    from placed as p
    join history.no_fault_visit as n on n.unit_id = p.unit_id and n.reported_at < p.reported_at
        and p.day - n.day <= (select chain_days from history.option)
    where not p.is_round and p.meaning = 'failed'
    group by p.visit_id, p.component
),
opened as (
    select p.*, a.no_fault_n,
        case when not p.is_round and p.day - p.day_before <= (select chain_days from history.option) then 0 else 1 end as opens
    from placed as p left join after_no_fault as a using (visit_id, component)
)
select *, sum(opens) over (partition by unit_id, component order by reported_at, visit_id) as n from opened;

create table history.chain as
with whole as (
    select unit_id, component, n, property, building,
        min(day) filter (meaning = 'failed') as first_failed_day,
        arg_min(visit_id, (reported_at, visit_id)) filter (meaning = 'failed') as first_visit_id,
        arg_min(no_fault_n, (reported_at, visit_id)) filter (meaning = 'failed' and opens = 1) as no_fault_n,
        max(day) as last_day, count(*) as n_visits,
        bool_or(part_fitted and meaning = 'failed') as part_fitted
    from history.chain_visit
    group by unit_id, component, n, property, building
    having bool_or(meaning = 'failed')
),
dated as (
    select w.*, least(w.first_failed_day, coalesce(f.started_on, w.first_failed_day)) as failed_on,
        coalesce(f.n_visits, 0) as n_no_fault_visits
    from whole as w left join history.no_fault_chain as f on f.unit_id = w.unit_id and f.n = w.no_fault_n
)
select row_number() over (order by failed_on, unit_id, component)::integer as chain_id,
    unit_id, component, property, building, failed_on, last_day, n_visits + n_no_fault_visits as n_visits, part_fitted,
    first_visit_id, no_fault_n,
    exists (select 1 from history.observed as o where o.unit_id = dated.unit_id
        and dated.failed_on >= o.from_day and dated.failed_on < o.to_day) as counted
from dated;

-- no-fault chains that no component's chain took in
create table history.open_no_fault_chain as
select f.*, exists (select 1 from history.observed as o where o.unit_id = f.unit_id
    and f.started_on >= o.from_day and f.started_on < o.to_day) as counted
from history.no_fault_chain as f
where not exists (select 1 from history.chain as c where c.unit_id = f.unit_id and c.no_fault_n = f.n);
