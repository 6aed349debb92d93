-- history.age_stretch: one row a unit, stretch at risk and age band of it; to_day is the day after the last.
-- history.rate_piece: one row a unit and age band: days at risk there. Key: (unit_id, age_band).
-- history.rate_failure: one row a counted failure with the age band the unit was in.
-- The band is the unit's age; unknown where its installation date is. kit_days: days with a known hard-start kit; a
-- hard-start failure outside them has no time at risk of its own and stays out (history.kitless_failure counts them).
-- Inputs: history.observed, unit, chain, position.
create or replace macro age_band(day, installed_on) as (
    case
        when installed_on is null then 'unknown'
        when day < installed_on + interval 5 year then '00-05 years'
        when day < installed_on + interval 10 year then '05-10 years'
        when day < installed_on + interval 15 year then '10-15 years'
        else '15 years and more' end
);

create or replace table history.age_stretch as
with band as (
    select u.unit_id, b.age_band,
        case when u.installed_on is null then date '0001-01-01' else (u.installed_on + to_years(b.from_age))::date end as from_day,
        case when u.installed_on is null or b.to_age is null then date '9999-12-31'
            else (u.installed_on + to_years(b.to_age))::date end as to_day
    from history.unit as u
    join (values ('00-05 years', 0, 5), ('05-10 years', 5, 10), ('10-15 years', 10, 15), ('15 years and more', 15, null),
        ('unknown', null, null)) as b(age_band, from_age, to_age)
        on (u.installed_on is null) = (b.age_band = 'unknown')
)
select o.unit_id, b.age_band, greatest(o.from_day, b.from_day) as from_day, least(o.to_day, b.to_day) as to_day,
    -- the day a kit is at risk from; without one, never
    case when p.unit_id is null then date '9999-12-31' else coalesce(p.from_day, date '0001-01-01') end as kit_from
from history.observed as o
join band as b on b.unit_id = o.unit_id and o.from_day < b.to_day and o.to_day > b.from_day
left join history.position as p on p.unit_id = o.unit_id and p.component = 'hard start';

create or replace table history.rate_piece as
select unit_id, age_band, sum(to_day - from_day)::bigint as days,
    sum(greatest(to_day - greatest(from_day, kit_from), 0))::bigint as kit_days
from history.age_stretch group by all;

create or replace table history.rate_failure as
select c.unit_id, c.component, age_band(c.failed_on, u.installed_on) as age_band, c.failed_on
from history.chain as c
join history.unit as u using (unit_id)
left join history.position as p on p.unit_id = c.unit_id and p.component = c.component
where c.counted
    and (c.component <> 'hard start' or (p.unit_id is not null and c.failed_on >= coalesce(p.from_day, c.failed_on)));

create or replace table history.kitless_failure as
select count(*) as n from history.chain as c
where c.counted and c.component = 'hard start'
    and not exists (select 1 from history.rate_failure as f
        where f.unit_id = c.unit_id and f.component = c.component and f.failed_on = c.failed_on);
