-- history.rate_piece: one row a unit and age band of it: days at risk there. Key: (unit_id, age_band).
-- history.rate_failure: one row a counted failure with the age band the unit was in.
-- The band is the unit's age; unknown where its installation date is. Inputs: history.observed, unit, chain.
create or replace macro age_band(day, installed_on) as (
    case
        when installed_on is null then 'unknown'
        when day < installed_on + interval 5 year then '0-5 years'
        when day < installed_on + interval 10 year then '5-10 years'
        when day < installed_on + interval 15 year then '10-15 years'
        else '15 years and more' end
);

create or replace table history.rate_piece as
with band as (
    select u.unit_id, b.age_band,
        case when u.installed_on is null then date '0001-01-01' else (u.installed_on + to_years(b.from_age))::date end as from_day,
        case when u.installed_on is null or b.to_age is null then date '9999-12-31'
            else (u.installed_on + to_years(b.to_age))::date end as to_day
    from history.unit as u
    join (values ('0-5 years', 0, 5), ('5-10 years', 5, 10), ('10-15 years', 10, 15), ('15 years and more', 15, null),
        ('unknown', null, null)) as b(age_band, from_age, to_age)
        on (u.installed_on is null) = (b.age_band = 'unknown')
)
select o.unit_id, b.age_band, sum(least(o.to_day, b.to_day) - greatest(o.from_day, b.from_day))::bigint as days,
    sum(case when p.unit_id is not null then
        greatest(least(o.to_day, b.to_day) - greatest(o.from_day, b.from_day, coalesce(p.from_day, o.from_day)), 0)
        else 0 end)::bigint as kit_days
from history.observed as o
join band as b on b.unit_id = o.unit_id and o.from_day < b.to_day and o.to_day > b.from_day
left join history.position as p on p.unit_id = o.unit_id and p.component = 'hard start'
group by o.unit_id, b.age_band;

create or replace table history.rate_failure as
select c.unit_id, c.component, age_band(c.failed_on, u.installed_on) as age_band, c.failed_on
from history.chain as c join history.unit as u using (unit_id)
where c.counted;
