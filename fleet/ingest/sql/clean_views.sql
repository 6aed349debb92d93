-- The clean views: landing rows of no standing, gaps filled with what holds where nothing is said.
-- Inputs: log.landing.*, clean_places.sql

-- one row a visit; after_hours as recorded, else worked out from the clock and the property's working hours
create view log.clean.visit as
select v.visit_id, v.equipment_id, t.property, t.building,
    v.reported_at, v.reported_at_has_time, v.arrived_at, v.finished_at,
    coalesce(v.recorded_at, v.finished_at, v.reported_at) as recorded_at,
    coalesce(v.call_type, 'other') as call_type,
    coalesce(v.after_hours, case
        when not list_contains(p.workdays, isodow(coalesce(v.arrived_at, v.reported_at))) then true
        when case when v.arrived_at is not null then v.arrived_at_has_time else v.reported_at_has_time end then
            coalesce(v.arrived_at, v.reported_at)::time < p.hours_from or coalesce(v.arrived_at, v.reported_at)::time >= p.hours_to
        end) as after_hours,
    v.after_hours is not null as after_hours_recorded,
    v.technician, v.vendor, v.finding, v.finding_word, v.outcome,
    v.labor_minutes, v.labor_cost, v.refrigerant_cost, v.other_cost, v.refrigerant_added_oz,
    case when v.indoor_f between 32 and 130 then v.indoor_f end as indoor_f, v.notes,
    v.source_id, v.rowid as place
from log.landing.visit as v
left join log.clean.tag as t on t.equipment_id = v.equipment_id
left join log.clean.property as p on p.property = t.property
where v.standing is null;

create view log.clean.reading as
select visit_id, component, coalesce(stage, 'found') as stage, value_uf, coalesce(method, 'bench') as method, meter, sense, rated_uf
from log.landing.reading where standing is null;

create view log.clean.part as
select visit_id, part_no, component, component_word, coalesce(quantity, 1) as quantity, unit_cost,
    coalesce(why, 'unknown') as why, coalesce(warranty, false) as warranty, credit, lot, taken_from
from log.landing.part where standing is null;

create view log.clean.catalogue as
select part_no, component, herm_uf, fan_uf, volts, start_uf_min, start_uf_max, tons, unit_cost, lead_time_days,
    coalesce(pack_size, 1) as pack_size, shelf_life_months, fits
from log.landing.catalogue where standing is null;

create view log.clean.stock as
select coalesce(s.property, o.property, '') as property, s.location, s.part_no,
    coalesce(s.on_hand, 0) as on_hand, coalesce(s.on_order, 0) as on_order
from log.landing.stock as s cross join log.clean.only_property as o where s.standing is null;

-- one row a property and day; weather of no property counts for every property that has none of its own
create view log.clean.weather as
with read as (
    select property, date, coalesce(high_f, high_c * 9 / 5 + 32) as high_f, coalesce(low_f, low_c * 9 / 5 + 32) as low_f
    from log.landing.weather where standing is null
)
select p.property, w.date, w.high_f, w.low_f
from log.clean.property as p
join read as w on w.property = p.property
    or (w.property is null and p.property not in (select property from read where property is not null))
where w.high_f is not null and w.low_f is not null;

create view log.clean.coverage as
select p.property, c.from_date, c.to_date
from log.clean.property as p
join log.landing.coverage as c on c.standing is null and (c.property = p.property or c.property is null);

create view log.clean.occupancy as
select equipment_id, vacant_from, vacant_to from log.landing.occupancy where standing is null;
