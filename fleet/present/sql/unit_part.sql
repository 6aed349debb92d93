-- The parts fitted at a tag, the latest first. One row a part line. Bound: tag.
-- Inputs: history.part
select visit_id, day, component, part_no, quantity, why, lot, warranty
from history.part where equipment_id = $tag order by reported_at desc, component;
