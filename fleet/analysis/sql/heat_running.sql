-- history.heat_running: one row a property and day of its log: what a unit has run through before that day, in days.
-- Key: (property, day). A day counts its degree days over the fleet's average day at risk, for all but a stated share
-- (history.heat_option), which counts as calendar time; so all time at risk together is as long as on the calendar.
-- A day without weather takes the property's average for that month; a property without any counts calendar days.
-- filled, bare: days before that day without weather of their own, and in properties without any.
-- Inputs: history.covered, history.heat, history.age_stretch, history.unit, history.heat_option(calendar_share)
create or replace table history.heat_running as
with month_mean as (
    select property, month(date) as month, avg(degree_days) as degree_days
    from history.heat where degree_days is not null group by all
),
place_mean as (
    select property, avg(degree_days) as degree_days from history.heat where degree_days is not null group by property
),
days as (
    select c.property, unnest(generate_series(c.first_day, c.last_day, interval 1 day))::date as day
    from (select property, min(from_day) as first_day, max(to_day) as last_day from history.covered group by property) as c
),
daily as (
    select d.property, d.day, coalesce(h.degree_days, m.degree_days, p.degree_days) as degree_days,
        (h.degree_days is null and p.degree_days is not null)::integer as filled, (p.degree_days is null)::integer as bare
    from days as d
    left join history.heat as h on h.property = d.property and h.date = d.day
    left join month_mean as m on m.property = d.property and m.month = month(d.day)
    left join place_mean as p on p.property = d.property
),
summed as (
    select property, day, bare > 0 as no_weather, row_number() over before - 1 as days,
        coalesce(sum(degree_days) over before, 0) - coalesce(degree_days, 0) as degree_days,
        sum(filled) over before - filled as filled, sum(bare) over before - bare as bare
    from daily
    window before as (partition by property order by day)
),
average as (
    select sum(e.degree_days - b.degree_days) / sum(s.to_day - s.from_day) as a_day
    from history.age_stretch as s
    join history.unit as u using (unit_id)
    join summed as b on b.property = u.property and b.day = s.from_day and not b.no_weather
    join summed as e on e.property = u.property and e.day = s.to_day
)
select property, day, filled, bare, average.a_day as average_degree_days,
    case when no_weather or not coalesce(average.a_day > 0, false) then days
        else o.calendar_share * days + (1 - o.calendar_share) * degree_days / average.a_day end as running
from summed cross join average cross join history.heat_option as o;
