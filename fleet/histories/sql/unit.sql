-- history.unit: one row a unit that ever hung at a tag. Key: unit_id.
-- A tag may recur with a later installed_on; "unit replaced" on a unit without retired_on retires it that day and
-- begins a unit of unknown make the next day, unless an equipment row begins within 90 days.
-- Inputs: clean.equipment, history.visit_seen, history.option
create table history.unit as
with listed as (
    select *, lead(installed_on) over (partition by equipment_id order by installed_on nulls first) as next_installed_on
    from log.clean.equipment
),
period as (
    select *, installed_on as service_from,
        coalesce(retired_on, next_installed_on - 1) as listed_to
    from listed
    where coalesce(installed_on <= (select as_of from history.option), true)
),
swap as (
    select distinct p.unit_id, v.reported_at::date as swapped_on
    from history.visit_seen as v
    join period as p on p.equipment_id = v.equipment_id and p.retired_on is null
        and v.reported_at::date >= coalesce(p.service_from, date '0001-01-01')
        and v.reported_at::date <= coalesce(p.listed_to, date '9999-12-31')
    where v.outcome = 'unit replaced'
),
swaps as (
    select unit_id, swapped_on, row_number() over (partition by unit_id order by swapped_on) as nth,
        lead(swapped_on) over (partition by unit_id order by swapped_on) as next_swap
    from swap
),
listed_units as (
    select p.* exclude (next_installed_on, listed_to, service_from), 'equipment' as origin, p.service_from,
        coalesce(s.swapped_on, p.listed_to) as service_to
    from period as p left join swaps as s on s.unit_id = p.unit_id and s.nth = 1
),
new_units as (
    select p.unit_id as old_unit_id, s.swapped_on + 1 as service_from,
        coalesce(s.next_swap, p.listed_to) as service_to, p.equipment_id, p.property, p.building, p.apartment, p.priority_home
    from swaps as s join period as p using (unit_id)
    where coalesce(s.next_swap, p.listed_to, date '9999-12-31') > s.swapped_on
        and not coalesce(s.next_swap is null and p.next_installed_on - s.swapped_on <= 90, false)
)
select unit_id, equipment_id, property, building, apartment, model, model_family, compressor_type, tons, refrigerant,
    charge_oz, installed_on, retired_on, herm_uf, fan_uf, tolerance_pct, start_uf_min, start_uf_max, priority_home,
    warranty_until, origin, service_from,
    case when service_to <= (select as_of from history.option) then service_to end as service_to
from listed_units
union all
select (select max(unit_id) from log.clean.equipment) + row_number() over (order by old_unit_id, service_from)::integer,
    equipment_id, property, building, apartment, null, null, 'unknown', null, null,
    null, service_from, null, null, null, null, null, null, priority_home,
    null, 'unit replaced', service_from,
    case when service_to <= (select as_of from history.option) then service_to end
from new_units
where service_from <= (select as_of from history.option);

-- history.visit: each visit with the unit in service that day; unit_id is null where none was.
create table history.visit as
select v.*, case when v.reported_at::date <= coalesce(u.service_to, date '9999-12-31') then u.unit_id end as unit_id,
    v.reported_at::date as day,
    coalesce(v.call_type = 'preventive maintenance', false) as is_round
from history.visit_seen as v
asof left join (
    select unit_id, equipment_id, service_to, coalesce(service_from, date '0001-01-01') as since from history.unit
) as u on v.equipment_id = u.equipment_id and v.reported_at::date >= u.since;

create table history.part as
select p.*, v.unit_id, v.equipment_id, v.property, v.building, v.day, v.is_round, v.reported_at, v.finding
from log.clean.part as p join history.visit as v using (visit_id);

create table history.reading as
select r.*, v.unit_id, v.equipment_id, v.property, v.building, v.day, v.is_round, v.reported_at, v.technician,
    coalesce(v.finding = 'run capacitor', false) as capacitor_found_bad
from log.clean.reading as r join history.visit as v using (visit_id);
