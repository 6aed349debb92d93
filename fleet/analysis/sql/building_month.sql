-- One row a building and month under observation: failures counted and failures expected. Key: (property, building, month).
-- Expected: days at risk x the whole fleet's failures a day of that calendar month and age of unit.
-- Inputs: history.observed, unit, chain; the macro age_band of rate_pieces.sql.
with spine as (
    select unnest(generate_series(date_trunc('month', min(from_day)), max(to_day), interval 1 month))::date as month_from
    from history.observed
),
risk as (
    select o.unit_id, u.property, u.building, s.month_from,
        age_band(greatest(o.from_day, s.month_from), u.installed_on) as age_band,
        sum(least(o.to_day, (s.month_from + interval 1 month)::date) - greatest(o.from_day, s.month_from))::bigint as days
    from history.observed as o
    join history.unit as u using (unit_id)
    join spine as s on s.month_from < o.to_day and (s.month_from + interval 1 month)::date > o.from_day
    group by all
),
failed as (
    select c.unit_id, date_trunc('month', c.failed_on)::date as month_from, count(*) as failures
    from history.chain as c where c.counted group by all
),
joined as (
    -- a unit may cross a birthday in a month: its failures go with its longest stretch there
    select r.*, case when row_number() over (partition by r.unit_id, r.month_from order by r.days desc, r.age_band) = 1
        then coalesce(f.failures, 0) else 0 end as failures
    from risk as r left join failed as f on f.unit_id = r.unit_id and f.month_from = r.month_from
),
rate as (
    select month(month_from) as month_of_year, age_band, sum(failures) as failures, sum(days) as days
    from joined group by all
)
select j.property, j.building, strftime(j.month_from, '%Y-%m') as month, sum(j.failures)::bigint as observed,
    sum(j.days * r.failures::double / r.days order by j.unit_id, j.age_band) as expected,
    sum(j.days) / 365.25 as unit_years
from joined as j join rate as r on r.month_of_year = month(j.month_from) and r.age_band = j.age_band
join log.clean.building as b on b.property = j.property and b.building = j.building
group by j.property, j.building, j.month_from, b.position
order by b.position, j.month_from
