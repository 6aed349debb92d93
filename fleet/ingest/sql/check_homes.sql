-- equipment, after older versions are out: one tag in two buildings or two properties; shelves by their usual names.
-- Inputs: log.landing.equipment, stock, parts. A tag is one unit's, or that of several one after the other at one place.
create or replace table memory.main.tag_home as
select equipment_id, count(distinct building) as n_buildings, count(distinct property) as n_properties,
    string_agg(distinct building, ', ' order by building) as buildings,
    string_agg(distinct property, ', ' order by property) as properties
from log.landing.equipment
where standing is null or (standing = 'duplicate' and reason = 'older_version')
group by equipment_id having count(distinct building) > 1 or count(distinct property) > 1;

-- an older version of one unit's row moved it; only what still stands, or stands for another property, is odd
create or replace table memory.main.tag_now as
select equipment_id, count(distinct building) as n_buildings from log.landing.equipment where standing is null group by all;

update log.landing.equipment as e
set notice = concat_ws(' | ', e.notice, 'tag_in_two_properties: ' || h.properties)
from memory.main.tag_home as h
where e.standing is null and e.equipment_id = h.equipment_id and h.n_properties > 1;

update log.landing.equipment as e
set notice = concat_ws(' | ', e.notice, 'unit_in_two_buildings: ' || h.buildings)
from memory.main.tag_home as h join memory.main.tag_now as n on n.equipment_id = h.equipment_id
where e.standing is null and e.equipment_id = h.equipment_id and n.n_buildings > 1 and h.n_properties <= 1;

update log.landing.stock set location = 'shop' where standing is null and lower(location) = 'shop' and location <> 'shop';
update log.landing.stock set location = 'van:' || trim(substr(location, strpos(location, ':') + 1))
where standing is null and regexp_matches(location, '^\s*van\s*:', 'i') and location not like 'van:%';
