-- visits, occupancy, coverage: days that can't be, money, times and amounts that are odd; tags no unit is known by.
-- Inputs: log.landing.visit, occupancy, coverage, equipment, memory.main.load_settings(as_of, tags_known)
update log.landing.visit set standing = 'quarantined', reason = 'reported_in_future'
where standing is null and reported_at::date > (select as_of from memory.main.load_settings);

update log.landing.occupancy set standing = 'quarantined', reason = 'vacant_to_before_vacant_from'
where standing is null and vacant_to < vacant_from;

update log.landing.coverage set standing = 'quarantined', reason = 'to_date_before_from_date'
where standing is null and to_date < from_date;

-- a whole column that fits degrees Celsius only was written in them
update log.landing.visit
set notice = concat_ws(' | ', notice, 'celsius_column: ' || indoor_f || ' C'), indoor_f = indoor_f * 9 / 5 + 32
where standing is null and indoor_f is not null and (
    select count(*) >= 5 and min(indoor_f) >= 12 and max(indoor_f) <= 45 from log.landing.visit where standing is null);

-- one pass: what is odd about a visit, each rule by its name
update log.landing.visit
set notice = concat_ws(' | ', notice,
    case when labor_cost < 0 or refrigerant_cost < 0 or other_cost < 0 then 'negative_money: kept as a credit' end,
    case when arrived_at < reported_at or finished_at < coalesce(arrived_at, reported_at)
        then 'times_out_of_order: arrived or finished before it was reported' end,
    case when greatest(arrived_at, finished_at, recorded_at)::date > (select as_of from memory.main.load_settings)
        then 'times_in_future: ' || greatest(arrived_at, finished_at, recorded_at)::date end,
    case when labor_minutes > 1440 then 'labor_unlikely: ' || labor_minutes || ' minutes' end,
    case when indoor_f not between 32 and 130 then 'indoor_unlikely: ' || indoor_f || ' degrees' end,
    case when refrigerant_added_oz > 480 then 'refrigerant_unlikely: ' || refrigerant_added_oz || ' oz' end,
    case when greatest(labor_cost, refrigerant_cost, other_cost) > 50000
        then 'money_unlikely: ' || greatest(labor_cost, refrigerant_cost, other_cost) end)
where standing is null and (labor_cost < 0 or refrigerant_cost < 0 or other_cost < 0 or arrived_at < reported_at
    or finished_at < coalesce(arrived_at, reported_at) or labor_minutes > 1440 or indoor_f not between 32 and 130
    or refrigerant_added_oz > 480 or greatest(labor_cost, refrigerant_cost, other_cost) > 50000
    or greatest(arrived_at, finished_at, recorded_at)::date > (select as_of from memory.main.load_settings));

create or replace table memory.main.stray_tag as
select equipment_id from (
    select distinct equipment_id from log.landing.visit where standing is null
    union
    select distinct equipment_id from log.landing.occupancy where standing is null
)
where (select tags_known from memory.main.load_settings)
    and equipment_id not in (select equipment_id from log.landing.equipment where standing is null);
