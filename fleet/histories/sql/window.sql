-- history.covered: one row a property and stretch of days in which its log was kept; to_day is the day after the last.
-- history.visit_seen: the visits known on the as-of day.
-- Inputs: clean.visit, clean.coverage, clean.property, history.option(as_of, recorded_by, chain_days). Keys: (property, from_day).
create table history.visit_seen as
select * from log.clean.visit
where reported_at::date <= (select as_of from history.option)
    and recorded_at::date <= (select recorded_by from history.option);

create table history.covered as
with kept as (
    select property, from_date as from_day, to_date + 1 as to_day from log.clean.coverage
    union all
    -- no coverage: the property's first and last report, both days included
    select p.property, min(v.reported_at)::date, max(v.reported_at)::date + 1
    from log.clean.property as p join log.clean.visit as v on v.property = p.property
    where p.property not in (select property from log.clean.coverage)
    group by p.property
),
known as (
    select property, from_day, least(to_day, (select as_of + 1 from history.option)) as to_day
    from kept where from_day <= (select as_of from history.option)
),
-- stretches that touch or overlap become one
marked as (
    select *, max(to_day) over (partition by property order by from_day, to_day
        rows between unbounded preceding and 1 preceding) as reached
    from known where to_day > from_day
),
numbered as (
    select *, sum(case when reached >= from_day then 0 else 1 end) over (partition by property order by from_day, to_day) as stretch
    from marked
)
select property, min(from_day) as from_day, max(to_day) as to_day
from numbered group by property, stretch;
