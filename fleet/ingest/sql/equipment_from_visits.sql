-- No equipment table came: one unit a tag seen in the visits, with whatever a visits sheet says of it (sheet.py).
insert into log.landing.equipment (equipment_id, source_id, notice)
select equipment_id, min(source_id), 'built from visits'
from log.landing.visit
where standing is null and equipment_id not in (select equipment_id from log.landing.equipment where standing is null)
group by equipment_id order by equipment_id;
