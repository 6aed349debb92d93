-- history.part_fit: which part number a unit takes for a component. Key: (unit_id, component).
-- What its kind takes, else what was last fitted in it. Inputs: history.unit, unit_kind, kind_part, part_use.
create or replace table history.part_fit as
with own as (
    select unit_id, component, arg_max(part_no, last_day) as part_no from history.part_use group by all
)
select u.unit_id, p.component,
    case
        when p.basis in ('fits', 'rating') then p.part_no
        else coalesce(o.part_no, p.part_no, 'part number unknown') end as part_no,
    case
        when p.basis in ('fits', 'rating') then p.basis
        when o.part_no is not null then 'last fitted in the unit'
        else coalesce(p.basis, 'unknown') end as basis
from history.unit as u
join history.unit_kind as k
    on k.model_family is not distinct from u.model_family and k.herm_uf is not distinct from u.herm_uf
    and k.fan_uf is not distinct from u.fan_uf and k.start_uf_min is not distinct from u.start_uf_min
    and k.start_uf_max is not distinct from u.start_uf_max and k.tons is not distinct from u.tons
join history.kind_part as p using (kind_id)
left join own as o on o.unit_id = u.unit_id and o.component = p.component;
