-- history.unit: one row a unit that ever hung at a tag; service_from and service_to are its first and last day in
-- service, null where unknown or still in service on the as-of day. Key: unit_id.
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
        -- two units can't stay at one place: the next one's first day is the last the one before can have
        case when retired_on is null then next_installed_on - 1
            else least(retired_on, coalesce(next_installed_on, retired_on)) end as listed_to
    from listed
    where coalesce(installed_on <= (select as_of from history.option), true)
),
swaps as (
    -- on a unit's very first day "unit replaced" speaks of the one before it
    select p.unit_id, v.reported_at::date as swapped_on,
        row_number() over (partition by p.unit_id order by v.reported_at::date) as nth,
        lead(v.reported_at::date) over (partition by p.unit_id order by v.reported_at::date) as next_swap
    from (select distinct equipment_id, reported_at::date as reported_at from history.visit_seen
        where outcome = 'unit replaced') as v
    join period as p on p.equipment_id = v.equipment_id and p.retired_on is null
        and v.reported_at > coalesce(p.service_from, date '0001-01-01')
        and v.reported_at <= coalesce(p.next_installed_on, date '9999-12-31')
),
listed_units as (
    select p.* exclude (next_installed_on, listed_to, service_from, retired_on),
        case when p.retired_on <= (select as_of from history.option) then p.retired_on end as retired_on,
        'equipment' as origin, p.service_from, coalesce(s.swapped_on, p.listed_to) as service_to
    from period as p left join swaps as s on s.unit_id = p.unit_id and s.nth = 1
),
new_units as (
    select p.unit_id as old_unit_id, s.swapped_on + 1 as service_from,
        coalesce(s.next_swap, p.listed_to) as service_to, p.equipment_id, p.property, p.building, p.apartment, p.priority_home
    from swaps as s join period as p using (unit_id)
    where coalesce(s.next_swap, p.listed_to, date '9999-12-31') > s.swapped_on
        and not coalesce(p.next_installed_on - s.swapped_on <= 90, false)
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
