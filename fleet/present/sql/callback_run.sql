-- Runs of call-backs: calls to one unit, each within window_days of the last. One row a call. Bound: window_days.
-- Call and call-back are those of fleet.analysis.callbacks; runs of one call are left out. Key: job_id.
-- Inputs: history.job, history.cost_visit, history.visit, history.unit
with linked as (
    select *, sum(case when days_after_last <= $window_days then 0 else 1 end) over (partition by unit_id order by job_id) as n
    from history.job
),
whole as (
    select unit_id, n, min(first_day) as begins_on, max(last_day) as ends_on, count(*) as calls
    from linked group by unit_id, n having count(*) > 1
),
-- each visit's money once, though two calls of one unit may share a day
paid as (
    select j.job_id, c.labor + c.parts + c.refrigerant + c.other - c.credit as cost
    from history.job as j
    join history.visit as v on v.unit_id = j.unit_id and v.day between j.first_day and j.last_day and not v.is_round
        and v.call_type <> 'turnover' and coalesce(v.outcome, '') <> 'no access'
    join history.cost_visit as c using (visit_id)
    qualify row_number() over (partition by v.visit_id order by j.job_id) = 1
),
priced as (
    select job_id, sum(cost) as cost from paid group by job_id
)
select dense_rank() over (order by w.calls desc, w.ends_on - w.begins_on, w.begins_on, w.unit_id)::integer as run,
    l.property, l.building, u.equipment_id, l.first_day as first_on, l.last_day as last_on,
    (l.first_day - w.begins_on)::integer as days, coalesce(l.finding, 'not recorded') as finding, l.n_visits::integer as visits,
    p.cost::double as cost, w.calls::integer as calls, sum(p.cost) over (partition by l.unit_id, l.n)::double as run_cost,
    coalesce(nullif(l.technician, ''), nullif(l.vendor, ''), '') as who
from linked as l join whole as w using (unit_id, n) join history.unit as u using (unit_id)
left join priced as p using (job_id)
order by run, l.first_day, l.job_id;
