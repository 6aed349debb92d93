-- The units that hung at a tag, the one in service last. One row a unit. Key: unit_id. Bound: tag.
-- Inputs: history.unit
select unit_id, model, model_family, compressor_type, tons, refrigerant, charge_oz, installed_on, service_from, service_to,
    herm_uf, fan_uf, tolerance_pct, start_uf_min, start_uf_max, priority_home, warranty_until
from history.unit where equipment_id = $tag order by service_from nulls first, unit_id;
