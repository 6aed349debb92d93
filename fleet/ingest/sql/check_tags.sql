-- tags no unit is known by: one spelling rule away from a known one they are meant, else their rows are refused.
-- Spelling rule: case, spaces, punctuation and leading zeros of numbers don't tell two tags apart.
-- Inputs: memory.main.stray_tag (check_visits), log.landing.visit, occupancy, equipment
create or replace macro plain_tag(t) as (
    regexp_replace(regexp_replace(lower(t), '[^a-z0-9]', '', 'g'), '(^|[a-z])0+([0-9])', '\1\2', 'g')
);

create or replace table memory.main.known_tag as
select plain_tag(equipment_id) as plain, min(equipment_id) as equipment_id
from (select distinct equipment_id from log.landing.equipment where standing is null)
group by all having count(*) = 1;

create or replace table memory.main.tag_fix as
select stray.equipment_id as written, known.equipment_id as meant
from memory.main.stray_tag as stray
left join memory.main.known_tag as known on known.plain = plain_tag(stray.equipment_id);

update log.landing.visit as v
set equipment_id = f.meant, notice = concat_ws(' | ', v.notice, 'tag_spelling: ' || f.written || ' read as ' || f.meant)
from memory.main.tag_fix as f
where v.standing is null and v.equipment_id = f.written and f.meant is not null;

update log.landing.visit as v set standing = 'quarantined', reason = 'unknown_unit'
from memory.main.tag_fix as f
where v.standing is null and v.equipment_id = f.written and f.meant is null;

update log.landing.occupancy as o
set equipment_id = f.meant, notice = concat_ws(' | ', o.notice, 'tag_spelling: ' || f.written || ' read as ' || f.meant)
from memory.main.tag_fix as f
where o.standing is null and o.equipment_id = f.written and f.meant is not null;

update log.landing.occupancy as o set standing = 'quarantined', reason = 'unknown_unit'
from memory.main.tag_fix as f
where o.standing is null and o.equipment_id = f.written and f.meant is null;
