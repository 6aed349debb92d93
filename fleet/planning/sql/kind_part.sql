-- history.kind_part: which part number a kind of unit takes for a component. Key: (kind_id, component).
-- Which part fits: the catalogue's `fits`, else the capacitor's rating, else the part last fitted (in the unit, then in
-- its family), else the catalogue's only part of the component, else "part number unknown"; a need is never dropped.
-- A rating that is known on both sides must agree; of several that fit, the one last fitted in the family, then the
-- most used, then the cheapest. Inputs: history.unit_kind, catalogue_fit, part_use.
create or replace table history.kind_part as
with wanted as (
    select distinct component from log.clean.catalogue union select distinct component from history.part_use
),
offered as (
    select k.kind_id, c.component, c.part_no,
        case
            when c.family = k.model_family then 'fits'
            when c.component in ('run capacitor', 'hard start') then 'rating'
            when c.family is null then 'only one' end as basis,
        c.unit_cost
    from history.unit_kind as k join history.catalogue_fit as c
        on case c.component
            -- a family's list names the part; a rating known on both sides still has to agree
            when 'run capacitor' then
                (c.family = k.model_family
                    and ((k.herm_uf is null and k.fan_uf is null) or (c.herm_uf is null and c.fan_uf is null)))
                or ((k.herm_uf is not null or k.fan_uf is not null)
                    and c.herm_uf is not distinct from k.herm_uf and c.fan_uf is not distinct from k.fan_uf)
            when 'hard start' then
                (c.family = k.model_family and (k.start_uf_min is null or c.start_uf_min is null))
                or (c.start_uf_min = k.start_uf_min and c.start_uf_max is not distinct from k.start_uf_max)
            else (c.family = k.model_family or c.family is null)
                and (c.tons is null or k.tons is null or c.tons = k.tons) end
),
family_use as (
    select model_family, component, part_no, max(last_day) as last_day, sum(n) as n
    from history.part_use group by all
),
ranked as (
    select o.kind_id, o.component, o.part_no, o.basis,
        count(distinct o.part_no) filter (o.basis = 'only one') over (partition by o.kind_id, o.component) as n_open,
        row_number() over (
            partition by o.kind_id, o.component
            order by o.basis = 'fits' desc, o.basis = 'rating' desc,
                f.last_day desc nulls last, f.n desc nulls last, o.unit_cost nulls last, o.part_no
        ) as rank
    from offered as o
    join history.unit_kind as k using (kind_id)
    left join family_use as f
        on f.model_family is not distinct from k.model_family and f.component = o.component and f.part_no = o.part_no
),
by_family as (
    select k.kind_id, f.component, arg_max(f.part_no, struct_pack(d := f.last_day, n := f.n)) as part_no
    from history.unit_kind as k join family_use as f on f.model_family = k.model_family
    group by all
)
select k.kind_id, w.component,
    case
        when r.basis in ('fits', 'rating') then r.part_no
        when b.part_no is not null then b.part_no
        when r.n_open = 1 then r.part_no end as part_no,
    case
        when r.basis in ('fits', 'rating') then r.basis
        when b.part_no is not null then 'last fitted in the family'
        when r.n_open = 1 then 'only one in the catalogue' end as basis
from history.unit_kind as k
cross join wanted as w
left join ranked as r on r.kind_id = k.kind_id and r.component = w.component and r.rank = 1
left join by_family as b on b.kind_id = k.kind_id and b.component = w.component;
