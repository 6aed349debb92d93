-- Every building in walking order. One row a building. Key: (property, building).
-- Inputs: clean.building, history.unit
select b.property, b.building, b.position, b.has_shelf,
    count(u.unit_id) filter (where u.service_to is null) as units
from log.clean.building as b
left join history.unit as u on u.property = b.property and u.building = b.building
group by all order by b.position;
