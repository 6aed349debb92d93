-- One row a property, year and month of the log, and one over all properties (property blank): calls and the heat of the
-- month. Hours without cooling run from the report to the finish of a visit that restored cooling.
-- Inputs: history.visit, history.observed, history.unit, history.heat
create or replace table history.season_call as
select v.visit_id, v.property, date_trunc('month', v.reported_at)::date as month, v.after_hours, v.equipment_id,
    v.unit_id, coalesce(u.priority_home, false) as priority_home, v.call_type, v.reported_at_has_time,
    case when v.reported_at_has_time and v.outcome in ('cooling restored', 'unit replaced')
        and v.call_type in ('no cooling', 'poor cooling', 'breaker trip')
        and v.finished_at > v.reported_at then date_diff('minute', v.reported_at, v.finished_at) / 60.0 end as hours_without
from history.visit as v join history.unit as u using (unit_id)
where not v.is_round and v.call_type not in ('turnover', 'follow-up');

create or replace table history.season_month as
with day as (
    select c.property, unnest(generate_series(c.from_day, c.to_day - 1, interval 1 day))::date as date from history.covered as c
),
month as (
    select d.property, date_trunc('month', d.date)::date as month, count(*) as days, sum(h.degree_days) as degree_days,
        count(h.degree_days) as days_with_weather
    from day as d left join history.heat as h on h.property = d.property and h.date = d.date
    group by all
)
select m.*, coalesce((select sum(greatest(least(o.to_day, (m.month + interval 1 month)::date) - greatest(o.from_day, m.month), 0))
    from history.observed as o join history.unit as u using (unit_id) where u.property = m.property
        and o.to_day > m.month and o.from_day < m.month + interval 1 month), 0) / 365.25 as unit_years
from month as m;
