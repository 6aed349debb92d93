-- history.new_reading: one row a reading of a new part tested before fitting, with the part it is taken to be of.
-- A test names no part: it is of the part of its kind fitted on that visit (the nearest rating, where several were), for
-- a part set aside after its test leaves no line among the parts used. nth tells several readings of one section apart:
-- the part tested first, second and so on. own_uf, own_min, own_max: what the catalogue prints on it, else the unit's
-- plate. Key: place. Inputs: history.reading, history.part, history.unit, clean.catalogue
create or replace table history.new_reading as
with fitted as (
    select p.visit_id, p.component, p.part_no, p.lot, c.herm_uf, c.fan_uf, c.start_uf_min, c.start_uf_max,
        c.herm_uf is not null or c.fan_uf is not null or c.start_uf_min is not null as listed
    from (select distinct visit_id, component, part_no, lot from history.part where component in ('run capacitor', 'hard start')) as p
    left join log.clean.catalogue as c on c.part_no = p.part_no and c.component = p.component
),
tested as (
    select r.rowid as place, r.visit_id, r.component as section, r.value_uf, r.sense, r.method, r.meter, r.day, r.property,
        case r.component when 'start' then 'hard start' else 'run capacitor' end as component,
        r.rated_uf as plate_uf, u.start_uf_max as plate_max, u.tolerance_pct
    from history.reading as r left join history.unit as u using (unit_id)
    where r.stage = 'new'
),
offered as (
    select t.place, f.part_no, f.lot, f.start_uf_max,
        case t.section when 'herm' then f.herm_uf when 'fan' then f.fan_uf else f.start_uf_min end as listed_uf
    from tested as t join fitted as f on f.visit_id = t.visit_id and f.component = t.component
    where not f.listed or listed_uf is not null
),
-- the part whose printed rating the reading is nearest to; one of no listed rating stands behind those
taken as (
    select o.place, o.part_no, o.listed_uf, o.start_uf_max,
        count(distinct coalesce(o.lot, '')) over (partition by o.place, o.part_no) = 1 as one_lot, o.lot
    from offered as o join tested as t using (place)
    qualify row_number() over (partition by o.place
        order by abs(t.value_uf / nullif(o.listed_uf, 0) - 1) nulls last, o.part_no nulls last, o.lot nulls last) = 1
)
select t.*, k.part_no, case when k.one_lot then k.lot end as lot, k.listed_uf is not null as listed,
    coalesce(k.one_lot, true) as one_lot,
    case when t.section <> 'start' then coalesce(k.listed_uf, t.plate_uf) end as own_uf,
    case when t.section = 'start' then coalesce(k.listed_uf, t.plate_uf) end as own_min,
    case when t.section = 'start' then case when k.listed_uf is not null then k.start_uf_max else t.plate_max end end as own_max,
    row_number() over (partition by t.visit_id, t.section, k.part_no order by t.place) as nth
from tested as t left join taken as k using (place);
