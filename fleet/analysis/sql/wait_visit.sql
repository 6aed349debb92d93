-- history.wait_visit: visits to a unit in service, no rounds and no turnovers, numbered by the call they belong to.
-- As in history.job a follow-up (or other) at most 90 days after "waiting for part" or "temporary" finishes the same call;
-- here one after "no access" does too, and so does a further call for cooling within the chain's days while a part was
-- awaited or nobody got in: nothing says that cooling had come back between. Key: visit_id.
-- Inputs: history.visit, history.option
create or replace table history.wait_visit as
with followed as (
    select visit_id, unit_id, property, building, day, reported_at, reported_at_has_time, arrived_at, finished_at, place,
        call_type, outcome, finding, indoor_f,
        lag(outcome) over same_unit as outcome_before, lag(call_type) over same_unit as type_before, day - lag(day) over same_unit as days_since
    from history.visit
    where unit_id is not null and not is_round and call_type <> 'turnover'
    window same_unit as (partition by unit_id order by reported_at, place)
),
numbered as (
    select *, sum(case
        when call_type in ('follow-up', 'other') and outcome_before in ('waiting for part', 'temporary', 'no access')
            and days_since <= 90 then 0
        when call_type in ('no cooling', 'poor cooling', 'breaker trip') and outcome_before in ('waiting for part', 'no access')
            and type_before in ('no cooling', 'poor cooling', 'breaker trip', 'follow-up')
            and days_since <= (select chain_days from history.option) then 0
        else 1 end) over (partition by unit_id order by reported_at, place) as n
    from followed
)
select * exclude (outcome_before, type_before, days_since),
    -- midnight sharp is a day without a time of day
    case when finished_at::time > time '00:00' then finished_at end as finish,
    case when arrived_at::time > time '00:00' then arrived_at end as arrival,
    lead(coalesce(case when arrived_at::time > time '00:00' then arrived_at end, case when reported_at_has_time then reported_at end))
        over (partition by unit_id, n order by reported_at, place) as next_at
from numbered;
