-- history.wait_heat: one row a call used: hours of its wait on days whose recorded high reached hot_day_f; null where the
-- weather of one of its days isn't known. Inputs: history.wait_call, clean.weather
create or replace table history.wait_heat as
with day as (
    select call_id, property, reported_at as from_at, reported_at + to_seconds(hours * 3600) as to_at,
        unnest(generate_series(day, (reported_at + to_seconds(hours * 3600))::date, interval 1 day))::date as date
    from history.wait_call where use = 'yes'
)
select d.call_id, d.date, w.high_f,
    greatest(date_diff('second', greatest(d.from_at, d.date::timestamp), least(d.to_at, (d.date + 1)::timestamp)), 0) / 3600 as hours
from day as d left join log.clean.weather as w on w.property = d.property and w.date = d.date;
