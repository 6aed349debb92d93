-- history.visit: each visit known on the as-of day with the unit in service that day. Key: visit_id.
-- unit_id is null where no unit was in service: such a visit counts in costs only.
-- A day on which two units were in service belongs to the later one, but for reports up to "unit replaced".
-- Inputs: history.visit_seen, history.unit
create table history.visit as
with changed as (
    select later.unit_id, max(v.reported_at) as replaced_at
    from history.unit as later
    join history.unit as before on before.equipment_id = later.equipment_id and before.unit_id <> later.unit_id
        and before.service_to = later.service_from
    join history.visit_seen as v on v.equipment_id = later.equipment_id
        and v.reported_at::date = later.service_from and v.outcome = 'unit replaced'
    group by later.unit_id
),
service as (
    select u.unit_id, u.equipment_id, u.service_to,
        coalesce(c.replaced_at + interval 1 microsecond, u.service_from::timestamp, timestamp '0001-01-01') as since
    from history.unit as u left join changed as c using (unit_id)
)
select v.*, case when v.reported_at::date <= coalesce(s.service_to, date '9999-12-31') then s.unit_id end as unit_id,
    v.reported_at::date as day,
    coalesce(v.call_type = 'preventive maintenance', false) as is_round
from history.visit_seen as v
asof left join service as s on v.equipment_id = s.equipment_id and v.reported_at >= s.since;

-- history.part, history.reading: the clean tables with their visit's unit, place and day
create table history.part as
select p.*, v.unit_id, v.equipment_id, v.property, v.building, v.day, v.is_round, v.reported_at, v.finding
from log.clean.part as p join history.visit as v using (visit_id);

create table history.reading as
select r.*, v.unit_id, v.equipment_id, v.property, v.building, v.day, v.is_round, v.reported_at, v.technician,
    coalesce(v.finding = 'run capacitor', false) as capacitor_found_bad
from log.clean.reading as r join history.visit as v using (visit_id);
