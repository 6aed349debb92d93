-- history.part_fit: which part number a unit takes for a component. Key: (unit_id, component).
-- Which part fits: the catalogue's `fits`, else the capacitor's rating, else the part last fitted (in the unit, then in
-- its family), else the catalogue's only part of the component, else "part number unknown"; a need is never dropped.
-- A rating that is known on both sides must agree; of several that fit, the one last fitted in the family, then the
-- most used, then the cheapest. Inputs: history.unit, history.part, clean.catalogue.
create or replace table history.catalogue_fit as
select c.part_no, c.component, c.herm_uf, c.fan_uf, c.start_uf_min, c.start_uf_max, c.tons, c.unit_cost,
    trim(f.family) as family
from log.clean.catalogue as c
left join (
    select part_no, unnest(string_split(fits, ';')) as family from log.clean.catalogue where trim(coalesce(fits, '')) <> ''
) as f on f.part_no = c.part_no;

create or replace table history.part_use as
select p.component, p.part_no, u.model_family, p.unit_id, max(p.day) as last_day, count(*) as n
from history.part as p join history.unit as u using (unit_id)
where p.part_no is not null and p.component is not null
group by all;

-- one row a kind of unit: what decides which part fits
create or replace table history.unit_kind as
select row_number() over (order by model_family, herm_uf, fan_uf, start_uf_min, start_uf_max, tons)::integer as kind_id, *
from (select distinct model_family, herm_uf, fan_uf, start_uf_min, start_uf_max, tons from history.unit);

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
