-- visits outside every service period of their tag, rows of a property no unit is of: kept and flagged.
-- Inputs: log.landing.visit, equipment, coverage, weather, stock, after older versions are out.
create or replace table memory.main.tag_span as
select equipment_id, count(*) as n, min(coalesce(installed_on, date '0001-01-01')) as first_day,
    max(coalesce(retired_on, date '9999-12-31')) as last_day
from log.landing.equipment where standing is null
group by equipment_id having count(installed_on) + count(retired_on) > 0;

update log.landing.visit as v
set notice = concat_ws(' | ', v.notice, 'outside_service: no unit of this tag was in service that day; counts in costs only')
from memory.main.tag_span as s
where v.standing is null and v.equipment_id = s.equipment_id
    and (v.reported_at::date < s.first_day or v.reported_at::date > s.last_day
        or (s.n > 1 and not exists (select 1 from log.landing.equipment as e
            where e.standing is null and e.equipment_id = v.equipment_id
                and v.reported_at::date >= coalesce(e.installed_on, date '0001-01-01')
                and v.reported_at::date <= coalesce(e.retired_on, date '9999-12-31'))));

create or replace table memory.main.unit_property as
select distinct property from log.landing.equipment where standing is null and property is not null;

update log.landing.coverage
set notice = concat_ws(' | ', notice, 'property_unknown: no unit is of ' || property)
where standing is null and property is not null and property not in (from memory.main.unit_property)
    and (select count(*) from memory.main.unit_property) > 0;

update log.landing.weather
set notice = concat_ws(' | ', notice, 'property_unknown: no unit is of ' || property)
where standing is null and property is not null and property not in (from memory.main.unit_property)
    and (select count(*) from memory.main.unit_property) > 0;

update log.landing.stock
set notice = concat_ws(' | ', notice, 'property_unknown: no unit is of ' || property)
where standing is null and property is not null and property not in (from memory.main.unit_property)
    and (select count(*) from memory.main.unit_property) > 0;
