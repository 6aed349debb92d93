-- One row a refrigerant and calendar year of the log: unit-years in service, visits that added some, ounces added.
-- Inputs: history.refrigerant_visit, history.refrigerant_name(unit_id, name), history.stretch
with year as (
    select unnest(generate_series(year(min(from_day)), year(max(to_day - 1)))) as year from history.stretch
),
served as (
    select n.name, y.year,
        sum(greatest(least(s.to_day, make_date(y.year + 1, 1, 1)) - greatest(s.from_day, make_date(y.year, 1, 1)), 0)) as days
    from history.stretch as s join history.refrigerant_name as n using (unit_id) cross join year as y
    group by all
),
added as (
    select n.name, year(v.day) as year, count(*) as additions, sum(v.ounces) as ounces
    from history.refrigerant_visit as v join history.refrigerant_name as n using (unit_id)
    where v.in_log and v.ounces > 0
    group by all
)
select s.name, s.year, s.days / 365.25 as unit_years, coalesce(a.additions, 0)::integer as additions, coalesce(a.ounces, 0) as ounces
from served as s left join added as a using (name, year)
where s.days > 0
order by s.name, s.year;
