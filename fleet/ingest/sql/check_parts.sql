-- parts, after visits and the catalogue are settled: money, numbers, and parts that fit no such unit.
-- Inputs: log.landing.part, catalogue, visit, equipment. Grain: one row a part fitted.
update log.landing.part
set notice = concat_ws(' | ', notice, case when unit_cost < 0 or credit < 0 then 'negative_money: kept as a credit' end,
    case when unit_cost > 50000 then 'money_unlikely: ' || unit_cost end,
    case when quantity > 20 or quantity = 0 then 'quantity_unlikely: ' || quantity || ' pieces' end)
where standing is null and (unit_cost < 0 or credit < 0 or unit_cost > 50000 or quantity > 20 or quantity = 0);

-- a part whose row names no component is what the catalogue says it is
update log.landing.part as p set component = c.component
from (
    select part_no, any_value(component) as component from log.landing.catalogue
    where standing is null group by all
) as c
where p.standing is null and p.component is null and p.component_word is null and p.part_no = c.part_no;

-- fits, where the catalogue says it and the family is known; else a run capacitor's rated microfarads
create or replace table memory.main.misfit as
with unit_of as (
    select v.visit_id, e.model_family, e.herm_uf, e.fan_uf
    from (select visit_id, equipment_id, reported_at from log.landing.visit
        where standing is null and visit_id in (select visit_id from log.landing.part where standing is null)) as v
    asof join (select *, coalesce(installed_on, date '1900-01-01')::timestamp as since
        from log.landing.equipment where standing is null) as e
        on v.equipment_id = e.equipment_id and v.reported_at >= e.since
)
select p.rowid as place, case when c.fits is not null and u.model_family is not null
        then c.part_no || ' fits ' || c.fits || ', the unit is ' || u.model_family
    else c.part_no || ' is ' || c.herm_uf || coalesce('/' || c.fan_uf, '') || ' uF, the unit takes ' || u.herm_uf
        || coalesce('/' || u.fan_uf, '') end as said
from log.landing.part as p
join (select part_no, any_value(component) as component, any_value(fits) as fits, any_value(herm_uf) as herm_uf,
        any_value(fan_uf) as fan_uf from log.landing.catalogue where standing is null group by all) as c
    on c.part_no = p.part_no
join unit_of as u on u.visit_id = p.visit_id
where p.standing is null and case when c.fits is not null and u.model_family is not null
    then not list_contains(list_transform(string_split(lower(c.fits), ';'), lambda x: trim(x)), lower(trim(u.model_family)))
    else c.component = 'run capacitor' and (c.herm_uf <> u.herm_uf or (c.fan_uf is not null and c.fan_uf <> u.fan_uf)) end;

update log.landing.part as p
set notice = concat_ws(' | ', p.notice, 'part_fits_no_such_unit: ' || m.said)
from memory.main.misfit as m where p.rowid = m.place;
