-- The clean tables of units and places: landing rows of no standing, the property filled in where there is only one.
-- Inputs: log.landing.equipment, building, property, weather, coverage, stock. Grain: said at each table.
create schema log.clean;

create table log.clean.only_property as
select case when count(*) = 1 then min(property) end as property
from (
    select property from log.landing.equipment where standing is null and property is not null
    union select property from log.landing.building where standing is null and property is not null
    union select property from log.landing.property where standing is null and property is not null
    union select property from log.landing.weather where standing is null and property is not null
    union select property from log.landing.coverage where standing is null and property is not null
    union select property from log.landing.stock where standing is null and property is not null
);

-- one row a condensing unit; unit_id counts them in a fixed order
create table log.clean.equipment as
select
    row_number() over (order by e.equipment_id, e.installed_on nulls first)::integer as unit_id,
    e.equipment_id,
    coalesce(e.property, o.property, '') as property,
    coalesce(e.building, 'unknown') as building,
    e.apartment, e.model, e.model_family,
    coalesce(e.compressor_type, 'unknown') as compressor_type,
    e.tons, e.refrigerant, e.charge_oz, e.installed_on, e.retired_on,
    e.herm_uf, e.fan_uf, e.tolerance_pct, e.start_uf_min, e.start_uf_max,
    coalesce(e.priority_home, false) as priority_home, e.warranty_until
from log.landing.equipment as e cross join log.clean.only_property as o
where e.standing is null;

create or replace macro memory.main.day_names() as ['mon', 'tue', 'wed', 'thu', 'fri', 'sat', 'sun'];

-- one row a complex, with its working hours and days (1 = Monday)
create table log.clean.property as
with named as (
    select property from log.clean.equipment
    union select property from log.landing.property where standing is null
),
given as (
    select property, hours_from, hours_to, currency,
        lower(regexp_replace(coalesce(workdays, 'mon-fri'), '\s', '', 'g')) as workdays
    from log.landing.property where standing is null
),
spans as (
    select *, list_position(day_names(), left(split_part(workdays, '-', 1), 3)) as first_day,
        list_position(day_names(), left(split_part(workdays, '-', 2), 3)) as last_day
    from given
),
days as (
    select property, list(d order by d) as workdays
    from spans, range(1, 8) as r(d)
    where case
        when first_day <= last_day then d between first_day and last_day
        when first_day > last_day then d >= first_day or d <= last_day
        else contains(workdays, (day_names())[d]) end
    group by all
)
select
    n.property,
    coalesce(try_cast(g.hours_from as time), try_cast(g.hours_from || ':00' as time), time '08:00') as hours_from,
    coalesce(try_cast(g.hours_to as time), try_cast(g.hours_to || ':00' as time), time '17:00') as hours_to,
    coalesce(d.workdays, [1, 2, 3, 4, 5]) as workdays,
    g.currency,
    g.hours_from is not null and g.hours_to is not null as hours_given
from named as n left join given as g using (property) left join days as d using (property);

-- where a tag hangs, for visits whatever the unit in service that day
create table log.clean.tag as
select equipment_id, arg_max(property, unit_id) as property, arg_max(building, unit_id) as building
from log.clean.equipment group by all;
