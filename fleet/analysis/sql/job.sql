-- history.job: one row a call with the planned visits that finish it. Key: job_id.
-- Calls are visits to a unit in service that are not preventive maintenance, turnover or no access. A follow-up after
-- "waiting for part" or "temporary" was planned: it belongs to the call it finishes. Who and what are the last visit's.
-- Inputs: history.visit
create or replace table history.job as
with call as (
    select visit_id, unit_id, property, building, day, reported_at, place, call_type, outcome, finding, technician, vendor,
        lag(outcome) over same_unit as outcome_before, day - lag(day) over same_unit as days_since
    from history.visit
    where unit_id is not null and not is_round and call_type <> 'turnover' and coalesce(outcome, '') <> 'no access'
    window same_unit as (partition by unit_id order by reported_at, place)
),
numbered as (
    select *, sum(case when call_type in ('follow-up', 'other') and outcome_before in ('waiting for part', 'temporary')
        and days_since <= 90 then 0 else 1 end) over (partition by unit_id order by reported_at, place) as n
    from call
),
job as (
    select unit_id, n, any_value(property) as property, any_value(building) as building,
        min(day) as first_day, max(day) as last_day, count(*) as n_visits,
        arg_max(finding, (reported_at, place)) as finding,
        -- a blank is a value here: the vendor's visit has no technician
        arg_max(coalesce(technician, ''), (reported_at, place)) as technician,
        arg_max(coalesce(vendor, ''), (reported_at, place)) as vendor
    from numbered group by unit_id, n
)
select row_number() over (order by j.unit_id, j.n)::integer as job_id, j.* exclude (n),
    j.first_day - lag(j.last_day) over same_unit as days_after_last,
    lead(j.first_day) over same_unit - j.last_day as days_to_next,
    u.service_to
from job as j join history.unit as u using (unit_id)
window same_unit as (partition by j.unit_id order by j.n);
