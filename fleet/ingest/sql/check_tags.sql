-- tags no unit is known by: their rows are refused.
-- Inputs: memory.main.stray_tag (check_visits), log.landing.visit, occupancy
update log.landing.visit as v set standing = 'quarantined', reason = 'unknown_unit'
from memory.main.stray_tag as s
where v.standing is null and v.equipment_id = s.equipment_id;

update log.landing.occupancy as o set standing = 'quarantined', reason = 'unknown_unit'
from memory.main.stray_tag as s
where o.standing is null and o.equipment_id = s.equipment_id;
