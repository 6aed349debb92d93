-- history.rate_cell: one row a unit, age band and season with its days at risk, for rates adjusted for season.
-- Seasons: the calendar's quarters shifted by one month (Mar-May, Jun-Aug, Sep-Nov, Dec-Feb).
-- Inputs: history.observed, unit, rate_piece's macro age_band.
create or replace table history.rate_cell as
with months as (
    select o.unit_id, m.month_from,
        greatest(o.from_day, m.month_from) as from_day, least(o.to_day, (m.month_from + interval 1 month)::date) as to_day
    from history.observed as o
    join (
        select unnest(generate_series(date_trunc('month', min(from_day)), max(to_day), interval 1 month))::date as month_from
        from history.observed
    ) as m on m.month_from < o.to_day and (m.month_from + interval 1 month)::date > o.from_day
)
select m.unit_id, age_band(m.from_day, u.installed_on) as age_band,
    ((month(m.month_from) % 12) // 3)::integer as season, sum(m.to_day - m.from_day)::bigint as days
from months as m join history.unit as u using (unit_id)
group by all;
