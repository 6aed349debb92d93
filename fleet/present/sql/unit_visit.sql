-- The visits to a tag, the latest first. One row a visit. Key: visit_id. Bound: tag.
-- Inputs: history.visit, history.chain_visit
select v.visit_id, v.day, v.call_type, v.finding, v.outcome, v.after_hours, v.technician, v.vendor, v.labor_minutes,
    v.refrigerant_added_oz, v.notes, v.is_round,
    exists (select 1 from history.chain_visit as c where c.visit_id = v.visit_id and c.opens = 0) as follows_an_earlier_visit
from history.visit as v
where v.equipment_id = $tag
order by v.reported_at desc, v.visit_id desc;
