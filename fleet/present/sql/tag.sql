-- Every tag with the place it hangs at. One row a tag. Key: equipment_id.
-- Inputs: history.unit
select equipment_id, arg_max(property, unit_id) as property, arg_max(building, unit_id) as building,
    coalesce(arg_max(apartment, unit_id), '') as apartment, bool_or(service_to is null) as in_service
from history.unit group by equipment_id order by equipment_id;
