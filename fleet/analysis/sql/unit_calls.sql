-- One row a unit: its calls, its years, its kind, its age. Key: unit_id.
-- Inputs: history.unit, history.unit_call, history.exposure
with called as (
    select unit_id, count(*) as calls, max(day) as last_day from history.unit_call where not on_plan group by unit_id
)
select u.unit_id, u.equipment_id, u.property, u.building, u.compressor_type, coalesce(u.model_family, 'unknown') as model_family,
    u.installed_on, u.service_to is null as in_service, coalesce(c.calls, 0)::integer as calls, c.last_day,
    coalesce(e.days, 0) / 365.25 as unit_years
from history.unit as u
left join history.exposure as e using (unit_id)
left join called as c using (unit_id)
order by u.unit_id;
