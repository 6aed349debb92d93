-- history.rate_cell anew, with days weighed by heat. Key: (unit_id, age_band, season), seasons as in rate_cells.sql.
-- Inputs: history.age_stretch, history.unit, history.heat_running
create or replace table history.rate_cell as
with month as (
    select unnest(generate_series(date_trunc('month', min(from_day)), max(to_day), interval 1 month))::date as month_from
    from history.age_stretch
),
cut as (
    select s.unit_id, u.property, s.age_band, s.kit_from, m.month_from, greatest(s.from_day, m.month_from) as from_day,
        least(s.to_day, (m.month_from + interval 1 month)::date) as to_day
    from history.age_stretch as s
    join history.unit as u using (unit_id)
    join month as m on m.month_from < s.to_day and (m.month_from + interval 1 month)::date > s.from_day
)
select c.unit_id, c.age_band, ((month(c.month_from) % 12) // 3)::integer as season, sum(e.running - b.running)::double as days,
    sum(greatest(e.running - greatest(b.running, coalesce(k.running, e.running)), 0))::double as kit_days
from cut as c
join history.heat_running as b on b.property = c.property and b.day = c.from_day
join history.heat_running as e on e.property = c.property and e.day = c.to_day
left join history.heat_running as k on k.property = c.property and k.day = greatest(c.kit_from, c.from_day)
group by all;
