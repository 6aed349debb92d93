-- visits, occupancy, coverage: days that can't be, money and times that are odd; tags no unit is known by.
-- Inputs: log.landing.visit, occupancy, coverage, equipment, memory.main.load_settings(as_of, tags_known)
update log.landing.visit set standing = 'quarantined', reason = 'reported_in_future'
where standing is null and reported_at::date > (select as_of from memory.main.load_settings);

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

create or replace table memory.main.stray_tag as
select equipment_id from (
    select distinct equipment_id from log.landing.visit where standing is null
    union
    select distinct equipment_id from log.landing.occupancy where standing is null
)
where (select tags_known from memory.main.load_settings)
    and equipment_id not in (select equipment_id from log.landing.equipment where standing is null);
