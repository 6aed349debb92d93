-- The days on which units failed. One row a failure chain or a no-fault chain. Bound: tags.
-- Inputs: history.chain, history.open_no_fault_chain, history.unit
select u.equipment_id, c.failed_on as day, c.component
from history.chain as c join history.unit as u using (unit_id)
where list_contains($tags, u.equipment_id) and c.counted
union all
select u.equipment_id, n.started_on, 'no fault found'
from history.open_no_fault_chain as n join history.unit as u using (unit_id)
where list_contains($tags, u.equipment_id) and n.counted
order by all;
