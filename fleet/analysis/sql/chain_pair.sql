-- history.failure: one row a counted failure, with the last day of its visits and what the unit's visits of that stretch
-- cost. Key: chain_id.
-- Inputs: history.chain, history.cost_visit, history.visit, history.unit
create or replace table history.failure as
with money as (
    select v.unit_id, v.day, c.labor + c.parts + c.refrigerant + c.other - c.credit as total
    from history.cost_visit as c join history.visit as v using (visit_id)
    where v.unit_id is not null
)
select c.chain_id, c.unit_id, c.component, c.failed_on, c.last_day, u.service_to,
    coalesce((select sum(m.total) from money as m
        where m.unit_id = c.unit_id and m.day between c.failed_on and c.last_day), 0)::double as cost
from history.chain as c
join history.unit as u using (unit_id)
where c.counted
order by c.unit_id, c.failed_on, c.chain_id;
