-- history.observed: one row a unit and stretch of days at risk; to_day is the day after the last. Key: (unit_id, from_day).
-- A unit is at risk while it is in service and its property's log was kept, vacant time taken out.
-- Inputs: history.unit, history.covered, clean.occupancy
create table history.stretch as
select u.unit_id, u.equipment_id, c.from_day as covered_from,
    greatest(c.from_day, coalesce(u.service_from, c.from_day)) as from_day,
    least(c.to_day, coalesce(u.service_to + 1, c.to_day)) as to_day
from history.unit as u join history.covered as c on c.property = u.property
where greatest(c.from_day, coalesce(u.service_from, c.from_day)) < least(c.to_day, coalesce(u.service_to + 1, c.to_day));

create table history.observed as
with marked as (
    select equipment_id, vacant_from, coalesce(vacant_to, date '9999-12-30') + 1 as back_on,
        max(coalesce(vacant_to, date '9999-12-30') + 1) over (partition by equipment_id order by vacant_from
            rows between unbounded preceding and 1 preceding) as reached
    from log.clean.occupancy
),
numbered as (
    select *, sum(case when reached >= vacant_from then 0 else 1 end) over (partition by equipment_id order by vacant_from) as n
    from marked
),
vacancy as (
    select equipment_id, min(vacant_from) as vacant_from, max(back_on) as back_on from numbered group by equipment_id, n
),
cut as (
    select s.unit_id, s.from_day, s.to_day,
        greatest(v.vacant_from, s.from_day) as vacant_from, least(v.back_on, s.to_day) as back_on
    from history.stretch as s join vacancy as v
        on v.equipment_id = s.equipment_id and v.vacant_from < s.to_day and v.back_on > s.from_day
),
pieces as (
    select unit_id, from_day, to_day from history.stretch as s
    where not exists (select 1 from cut as c where c.unit_id = s.unit_id and c.from_day = s.from_day)
    union all
    select unit_id, from_day, min(vacant_from) from cut group by unit_id, from_day
    union all
    select unit_id, back_on, coalesce(lead(vacant_from) over (partition by unit_id, from_day order by vacant_from), to_day)
    from cut
)
select unit_id, from_day, to_day from pieces where to_day > from_day;

-- history.exposure: one row a unit: days at risk over the whole window
create table history.exposure as
select unit_id, sum(to_day - from_day)::bigint as days from history.observed group by unit_id;
