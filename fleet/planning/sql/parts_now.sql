-- history.part_now: the parts in service on the as-of day, with their state on the first day of the season to come.
-- Key: (unit_id, component). Inputs: history.unit, spell, position, part_fit, season_ahead(from_day, to_day exclusive).
create or replace table history.part_now as
with ahead as (
    select from_day from history.season_ahead
),
latest as (
    select unit_id, component, arg_max_null(born_on, start_on) as born_on, max(start_on) as start_on
    from history.spell group by all
)
select u.unit_id, u.property, u.building, coalesce(u.model_family, 'unknown') as model_family, u.compressor_type, p.component,
    case when p.component in (from history.loose_component) then 'any'
        else part_state(a.from_day, l.born_on, u.installed_on) end as state,
    coalesce(f.part_no, 'part number unknown') as part_no, f.basis
from history.unit as u
cross join ahead as a
join (
    select unit_id, component from history.position
    union all
    select u.unit_id, c.component from history.unit as u cross join history.loose_component as c
) as p using (unit_id)
left join latest as l on l.unit_id = u.unit_id and l.component = p.component
left join history.part_fit as f on f.unit_id = u.unit_id and f.component = p.component
where u.service_to is null and coalesce(u.retired_on >= a.from_day, true);
