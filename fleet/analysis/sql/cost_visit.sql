-- history.cost_visit: one row a visit known on the as-of day, with its recorded money, exact. Key: visit_id.
-- Visits outside every service period count too. Money below zero is a credit, whichever column it stands in.
-- Inputs: history.visit, history.part
create or replace table history.cost_visit as
with line as (
    select visit_id, coalesce(unit_cost, 0) * quantity::decimal(18, 4) as amount, abs(coalesce(credit, 0)) as credit,
        unit_cost is null as unpriced
    from history.part
),
fitted as (
    select visit_id, sum(greatest(amount, 0)) as parts, sum(greatest(-amount, 0)) + sum(credit) as credit,
        count(*) filter (unpriced) as n_unpriced
    from line group by visit_id
)
select v.visit_id, v.property, v.building, strftime(v.reported_at, '%Y-%m') as month,
    coalesce(v.finding, 'not recorded') as cause, v.after_hours, v.vendor is not null as by_vendor, v.is_round,
    v.unit_id is null as out_of_service, v.labor_minutes, v.labor_cost is not null as labor_recorded,
    greatest(coalesce(v.labor_cost, 0), 0) as labor,
    coalesce(f.parts, 0) as parts,
    greatest(coalesce(v.refrigerant_cost, 0), 0) as refrigerant,
    greatest(coalesce(v.other_cost, 0), 0) as other,
    coalesce(f.credit, 0) - least(coalesce(v.labor_cost, 0), 0) - least(coalesce(v.refrigerant_cost, 0), 0)
        - least(coalesce(v.other_cost, 0), 0) as credit,
    coalesce(f.n_unpriced, 0) as n_unpriced
from history.visit as v left join fitted as f using (visit_id);
