-- visits: reported after the load's as-of day; tags one spelling rule away from a known one; unknown tags.
-- Spelling rule: case, spaces, punctuation and leading zeros of numbers don't tell two tags apart.
-- Inputs: log.landing.visit, log.landing.equipment, memory.main.load_settings(as_of, tags_known)
create or replace macro plain_tag(t) as (
    regexp_replace(regexp_replace(lower(t), '[^a-z0-9]', '', 'g'), '(^|[a-z])0+([0-9])', '\1\2', 'g')
);

update log.landing.visit set standing = 'quarantined', reason = 'reported_in_future'
where standing is null and reported_at::date > (select as_of from memory.main.load_settings);

create or replace table memory.main.known_tag as
select plain_tag(equipment_id) as plain, min(equipment_id) as equipment_id
from (select distinct equipment_id from log.landing.equipment where standing is null)
group by all having count(*) = 1;

create or replace table memory.main.tag_fix as
select seen.equipment_id as written, known.equipment_id as meant
from (
    select distinct equipment_id from log.landing.visit where standing is null
    union
    select distinct equipment_id from log.landing.occupancy where standing is null
) as seen
left join memory.main.known_tag as known on known.plain = plain_tag(seen.equipment_id)
where (select tags_known from memory.main.load_settings)
    and seen.equipment_id not in (select equipment_id from log.landing.equipment where standing is null);

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

update log.landing.occupancy set standing = 'quarantined', reason = 'vacant_to_before_vacant_from'
where standing is null and vacant_to < vacant_from;

update log.landing.coverage set standing = 'quarantined', reason = 'to_date_before_from_date'
where standing is null and to_date < from_date;

update log.landing.visit
set notice = concat_ws(' | ', notice, 'negative_money: kept as a credit')
where standing is null and (labor_cost < 0 or refrigerant_cost < 0 or other_cost < 0);

update log.landing.visit
set notice = concat_ws(' | ', notice, 'times_out_of_order: arrived or finished before it was reported')
where standing is null and (arrived_at < reported_at or finished_at < coalesce(arrived_at, reported_at));
