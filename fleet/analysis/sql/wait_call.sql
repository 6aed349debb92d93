-- history.wait_call: one row a call, from its first report to the end of the visit that restored cooling. Key: call_id.
-- hours: how long the home is known to have been without cooling; done where it came back then (else at least so long).
-- state: restored | finish unknown (restored, but when wasn't written down) | waiting (a part still awaited on the as-of
-- day) | lost (no later visit says that cooling came back). An open call lasts to the end of its last visit, one still
-- waiting to the end of the as-of day. use: yes, or why it is left out.
-- Inputs: history.wait_visit, history.unit, history.observed, history.covered, history.option
create or replace table history.wait_call as
with call as (
    select unit_id, n, any_value(property) as property, any_value(building) as building, count(*) as visits,
        min(reported_at) as reported_at, arg_min(reported_at_has_time, (reported_at, place)) as has_time,
        arg_min(call_type, (reported_at, place)) as call_type, min(day) as day, max(day) as last_day,
        arg_max(coalesce(outcome, ''), (reported_at, place)) as outcome,
        arg_max(finding, (reported_at, place)) filter (finding is not null and finding <> 'no fault found') as fault,
        arg_max(finding, (reported_at, place)) filter (finding is not null) as finding,
        arg_max(coalesce(finish, timestamp '0001-01-01'), (reported_at, place)) as last_finish,
        arg_max(coalesce(finish, arrival, timestamp '0001-01-01'), (reported_at, place)) as last_seen,
        arg_min(indoor_f, (reported_at, place)) filter (indoor_f is not null) as indoor_f,
        bool_or(coalesce(outcome, '') = 'waiting for part') as waited_for_part,
        sum(gap) filter (outcome = 'waiting for part') as part_hours, sum(gap) filter (outcome = 'no access') as access_hours,
        sum(gap) filter (outcome = 'temporary') as temporary_hours
    from (select *, greatest(date_diff('second', coalesce(finish, arrival), next_at), 0) / 3600 as gap from history.wait_visit)
    group by unit_id, n
),
seen as (
    select c.*, u.equipment_id, u.apartment, coalesce(u.priority_home, false) as priority_home,
        case when c.outcome in ('cooling restored', 'unit replaced') then
                case when c.last_finish > c.reported_at then 'restored' else 'finish unknown' end
            when c.outcome = 'waiting for part' and o.as_of - c.last_day <= 90 and u.service_to is null
                and exists (select 1 from history.covered as k where k.property = c.property and o.as_of >= k.from_day and o.as_of < k.to_day)
                then 'waiting'
            else 'lost' end as state,
        o.as_of,
        exists (select 1 from history.observed as e where e.unit_id = c.unit_id and c.day >= e.from_day and c.day < e.to_day) as lived_in
    from call as c join history.unit as u using (unit_id) cross join history.option as o
),
timed as (
    select *, case state when 'restored' then last_finish when 'waiting' then (as_of + 1)::timestamp else last_seen end as until
    from seen
)
select row_number() over (order by unit_id, n)::integer as call_id, unit_id, equipment_id, property, building,
    coalesce(apartment, equipment_id) as home, apartment, priority_home, call_type, coalesce(fault, finding, 'not recorded') as component,
    reported_at, day, strftime(day, '%Y-%m') as month, strftime(day, '%Y') as year, visits, state, state = 'restored' as done,
    date_diff('second', reported_at, until) / 3600 as hours, indoor_f, waited_for_part,
    coalesce(part_hours, 0) + case when state = 'waiting' then date_diff('second', last_seen, until) / 3600 else 0 end as part_hours,
    coalesce(access_hours, 0) as access_hours, coalesce(temporary_hours, 0) as temporary_hours,
    case
        when call_type not in ('no cooling', 'poor cooling', 'breaker trip') then 'visits that began with no call for cooling'
        when not lived_in then 'calls in time taken out (log gaps, empty homes)'
        when outcome = '' then 'calls without an outcome'
        when not has_time then 'calls whose report has no time of day'
        when not coalesce(until > reported_at, false) then 'calls without a time of arrival or finish'
        else 'yes' end as use
from timed;
