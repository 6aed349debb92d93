-- history.refrigerant_visit: one row a visit that put refrigerant into a unit or opened its circuit. Key: visit_id.
-- opened: a compressor or a metering device was fitted, or the unit replaced: what went in filled an opened circuit, it
-- made up for no leak. mended: the circuit was opened, or a part fitted for the leak itself (a coil, a valve core).
-- Ounces as written down with the visit, else those among the parts. in_log: a unit was in service and the log kept.
-- Inputs: history.visit, history.part, history.stretch
create or replace table history.refrigerant_visit as
with fitted as (
    select visit_id, sum(quantity) filter (component = 'refrigerant') as ounces,
        coalesce(bool_or(component in ('compressor', 'metering device', 'whole unit')), false) as opened,
        coalesce(bool_or(component = 'refrigerant leak'), false) as leak_part
    from history.part group by visit_id
),
added as (
    select v.visit_id, v.unit_id, v.property, v.building, v.day, v.reported_at, v.place,
        coalesce(nullif(v.refrigerant_added_oz, 0), f.ounces, 0) as ounces,
        coalesce(f.opened, false) or coalesce(v.outcome = 'unit replaced', false) as opened,
        coalesce(f.leak_part, false) as leak_part
    from history.visit as v left join fitted as f using (visit_id)
)
select a.* exclude (leak_part), a.opened or a.leak_part as mended,
    exists (select 1 from history.stretch as s where s.unit_id = a.unit_id and a.day >= s.from_day and a.day < s.to_day) as in_log
from added as a where a.ounces > 0 or a.opened or a.leak_part;

-- history.refrigerant_unit: one row a unit that served while the log was kept. Key: unit_id.
-- days: in service while the log was kept; a unit loses refrigerant in an empty home too. Inputs: history.unit, stretch
create or replace table history.refrigerant_unit as
select u.unit_id, u.equipment_id, u.property, u.building, u.refrigerant, u.charge_oz, u.installed_on,
    u.service_to is null as in_service, sum(s.to_day - s.from_day)::bigint as days
from history.unit as u join history.stretch as s using (unit_id)
group by all;
