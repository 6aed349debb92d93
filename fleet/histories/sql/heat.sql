-- history.heat: one row a property and day: cooling degree days of the day (base 65 F, mean of high and low, unrounded)
-- and their sum since the record began, before that day. Key: (property, date).
-- Input: clean.weather. Days missing inside the record add nothing.
create table history.heat as
with daily as (
    select property, date, greatest((high_f + low_f) / 2 - 65, 0) as degree_days from log.clean.weather
),
days as (
    select p.property, unnest(generate_series(p.first_day, p.last_day + 1, interval 1 day))::date as date
    from (select property, min(date) as first_day, max(date) as last_day from daily group by property) as p
)
select d.property, d.date, daily.degree_days,
    coalesce(sum(daily.degree_days) over (partition by d.property order by d.date
        rows between unbounded preceding and 1 preceding), 0) as heat
from days as d left join daily on daily.property = d.property and daily.date = d.date;
