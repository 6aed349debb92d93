-- One row a unit and stretch watched, for one component: its tag, its days, its unit's installation. Key: (unit_id, from_day).
-- $kit_only: only time with a known hard-start kit. for_good: the place's watch ends there by retirement, for good.
-- Inputs: history.watched, history.unit
select u.equipment_id, w.unit_id, w.installed_on, w.to_day,
    case when $kit_only then greatest(w.from_day, w.kit_from) else w.from_day end as from_day,
    coalesce(u.service_to + 1 = w.to_day, false)
        and w.to_day = max(w.to_day) over (partition by u.equipment_id)
        and not exists (select 1 from history.unit as later
            where later.equipment_id = u.equipment_id and later.service_from > u.service_to) as for_good
from history.watched as w join history.unit as u using (unit_id)
where not $kit_only or (w.kit_from is not null and w.kit_from < w.to_day)
order by w.unit_id, from_day;
