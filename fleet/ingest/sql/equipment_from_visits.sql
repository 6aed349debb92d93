-- No equipment table came: one unit a tag seen in the visits, with whatever the visits sheet says of it.
insert into log.landing.equipment (equipment_id, source_id, notice)
select distinct equipment_id, min(source_id) over (), 'built from visits'
from log.landing.visit where standing is null;
