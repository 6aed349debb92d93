-- history.rate_cell: one row a unit, age band and season with its days at risk (and those with a known hard-start
-- kit), for rates adjusted for season. Key: (unit_id, age_band, season).
-- Seasons: the calendar's quarters shifted by one month (Mar-May, Jun-Aug, Sep-Nov, Dec-Feb).
-- Inputs: history.age_stretch.
create or replace table history.rate_cell as
with months as (
    select s.unit_id, s.age_band, s.kit_from, m.month_from,
        greatest(s.from_day, m.month_from) as from_day, least(s.to_day, (m.month_from + interval 1 month)::date) as to_day
    from history.age_stretch as s
    join (
        select unnest(generate_series(date_trunc('month', min(from_day)), max(to_day), interval 1 month))::date as month_from
        from history.age_stretch
    ) as m on m.month_from < s.to_day and (m.month_from + interval 1 month)::date > s.from_day
)
select unit_id, age_band, ((month(month_from) % 12) // 3)::integer as season, sum(to_day - from_day)::bigint as days,
    sum(greatest(to_day - greatest(from_day, kit_from), 0))::bigint as kit_days
from months
group by all;
