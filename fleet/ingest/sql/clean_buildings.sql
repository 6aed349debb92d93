-- clean.building: one row a building named by the equipment or the buildings table. Key: (property, building).
-- Inputs: clean.equipment, clean.only_property, log.landing.building
create table log.clean.building as
with named as (
    select distinct property, building from log.clean.equipment
    union
    select coalesce(b.property, o.property, ''), b.building
    from log.landing.building as b cross join log.clean.only_property as o where b.standing is null
),
given as (
    select coalesce(b.property, o.property, '') as property, b.building, b.walk_order, b.x, b.y, b.has_shelf
    from log.landing.building as b cross join log.clean.only_property as o where b.standing is null
)
select n.property, n.building, g.walk_order, g.x, g.y,
    coalesce(g.has_shelf, not exists (select 1 from given where has_shelf is not null)) as has_shelf,
    -- walking order as given, else the building's number, else its name
    row_number() over (order by n.property, g.walk_order nulls last,
        try_cast(regexp_extract(n.building, '[0-9]+') as integer) nulls last, n.building)::integer as position
from named as n left join given as g using (property, building);
