-- One row a property, month of the report, building and cause: recorded money, and labor that could be estimated.
-- price is the log's own median labor cost a minute, after-hours visits and others apart, else of all visits.
-- Input: history.cost_visit
with priced as (
    select after_hours, labor / labor_minutes as per_minute from history.cost_visit where labor > 0 and labor_minutes > 0
),
price as (
    select coalesce(median(per_minute) filter (after_hours), median(per_minute)) as night,
        coalesce(median(per_minute) filter (not after_hours), median(per_minute)) as day, median(per_minute) as plain
    from priced
),
visit as (
    select c.*, c.labor + c.parts + c.refrigerant + c.other - c.credit as total,
        not c.labor_recorded and coalesce(c.labor_minutes, 0) > 0 as estimable,
        c.labor_minutes * case c.after_hours when true then p.night when false then p.day else p.plain end as guess
    from history.cost_visit as c cross join price as p
)
select month, building, cause, sum(labor) as labor, sum(parts) as parts, sum(refrigerant) as refrigerant, sum(other) as other,
    sum(credit) as credit, sum(total) as total, sum(case when after_hours then total else 0 end) as after_hours,
    case when bool_or(estimable and guess is null) then null else coalesce(sum(guess) filter (estimable), 0) end as estimated,
    sum(case when by_vendor then total else 0 end) as vendor, sum(case when is_round then total else 0 end) as rounds,
    count(*) as visits, property,
    count(*) filter (estimable) as n_estimable,
    count(*) filter (not labor_recorded and coalesce(labor_minutes, 0) = 0) as n_no_labor,
    count(*) filter (after_hours is null) as n_hours_unknown, sum(n_unpriced) as n_unpriced,
    count(*) filter (out_of_service) as n_out_of_service
from visit
group by property, month, building, cause
order by property, month, building, cause;
