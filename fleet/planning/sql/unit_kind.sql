-- history.unit_kind: one row a kind of unit: what decides which part fits. history.catalogue_fit: the catalogue, one row a
-- part and family it fits. history.part_use: what was fitted where. Inputs: history.unit, history.part, clean.catalogue.
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
