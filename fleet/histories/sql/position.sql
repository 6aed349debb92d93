-- history.position: one row a unit and component it has a part of. Key: (unit_id, component).
-- from_day is null where the unit had it from the start; a hard-start kit counts only from the day it is known
-- (rated on the equipment, or fitted). Where the log has no column for it, every unit counts.
-- Inputs: history.unit, history.event, history.part_component, clean.catalogue
create table history.position as
with in_use as (
    select component from history.event
    union
    select component from log.clean.catalogue
),
kit as (
    select unit_id, min(day) as from_day from history.event
    where component = 'hard start' and part_fitted group by unit_id
),
start_known as (
    select count(*) > 0 as known from log.landing.source
    where list_has_any(columns, ['start_uf_min', 'start_uf_max']) and table_name in ('equipment', 'visits')
)
select u.unit_id, c.component,
    case when c.component = 'hard start' and u.start_uf_min is null and u.start_uf_max is null
        and (select known from start_known) then k.from_day end as from_day
from history.unit as u
cross join (from history.part_component where component in (from in_use)) as c
left join kit as k on k.unit_id = u.unit_id
where c.component <> 'hard start' or u.start_uf_min is not null or u.start_uf_max is not null
    or k.from_day is not null or not (select known from start_known);

-- days at risk of a component in a unit where they differ from the unit's own
create table history.kit_exposure as
select p.unit_id, p.component,
    coalesce(sum(o.to_day - greatest(o.from_day, coalesce(p.from_day, o.from_day))), 0)::bigint as days
from history.position as p
left join history.observed as o on o.unit_id = p.unit_id and o.to_day > coalesce(p.from_day, o.from_day)
where p.component = 'hard start'
group by p.unit_id, p.component;
