-- The answer's rows: a property and month, then all properties together with property blank. Inputs: sql/season.sql
with place as (
    select distinct property, property as shown from history.season_month
    union all
    select distinct property, '' from history.season_month where property <> ''
),
months as (
    select p.shown as property, m.month, sum(m.days) as days, sum(m.degree_days * m.unit_years) / nullif(sum(m.unit_years), 0) as degree_days,
        sum(m.days - m.days_with_weather) as days_without_weather, sum(m.unit_years) as unit_years
    from history.season_month as m join place as p using (property) group by all
),
calls as (
    select p.shown as property, c.month, count(*) as calls,
        count(*) filter (c.after_hours) as night_calls, count(*) filter (c.after_hours is null) as hours_unknown,
        count(c.hours_without) as timed_calls, median(c.hours_without) as hours_without_cooling,
        quantile_cont(c.hours_without, 0.9) as hours_without_cooling_p90,
        count(c.hours_without) filter (c.priority_home) as timed_priority,
        median(c.hours_without) filter (c.priority_home) as hours_priority,
        count(*) filter (c.priority_home) as calls_priority
    from history.season_call as c join place as p using (property) group by all
)
select strftime(m.month, '%Y-%m') as month, coalesce(c.calls, 0) as calls, m.unit_years,
    coalesce(c.calls, 0) / nullif(m.unit_years, 0) as rate, m.degree_days, m.days_without_weather,
    coalesce(c.night_calls, 0) as night_calls, coalesce(c.hours_unknown, 0) as hours_unknown,
    coalesce(c.timed_calls, 0) as timed_calls, c.hours_without_cooling, c.hours_without_cooling_p90,
    coalesce(c.calls_priority, 0) as calls_priority, coalesce(c.timed_priority, 0) as timed_priority, c.hours_priority,
    m.property
from months as m left join calls as c on c.property = m.property and c.month = m.month
order by m.property, m.month;
