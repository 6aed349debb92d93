-- The readings taken at a tag, the oldest first. One row a reading. Bound: tag.
-- Inputs: history.reading, history.unit
select r.visit_id, r.day, r.component as section, r.stage, r.value_uf, r.rated_uf, r.sense, r.method, r.meter, r.technician,
    case when r.sense = 'ok' and r.rated_uf > 0 and r.component <> 'start' then 100 * (r.value_uf / r.rated_uf - 1) end as off_pct,
    coalesce(u.tolerance_pct, $tolerance_pct) as tolerance_pct, u.tolerance_pct is null as tolerance_assumed,
    u.start_uf_min, u.start_uf_max
from history.reading as r left join history.unit as u using (unit_id)
where r.equipment_id = $tag
order by r.reported_at, r.component, case r.stage when 'found' then 1 when 'left' then 2 else 3 end;
