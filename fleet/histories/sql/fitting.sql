-- history.fitting: one row a visit and component whose life it ended: a part fitted, or the unit replaced for it.
-- Key: (visit_id, component). new_part is false where the unit went with its failed part; ends_on is the day the old
-- life ends and, with a new part, the day the new one begins.
-- Inputs: history.event, history.unit, history.visit, history.option
create table history.fitting as
select unit_id, component, day as ends_on, reported_at, visit_id, meaning, part_no, lot, true as new_part
from history.event where part_fitted
union all
select e.unit_id, e.component, u.service_to, e.reported_at, e.visit_id, 'failed', null, null, false
from history.event as e
join history.unit as u using (unit_id)
join history.visit as v using (visit_id)
where e.meaning = 'failed' and not e.part_fitted
    and (e.day = u.service_to or (v.outcome = 'unit replaced'
        and u.service_to - e.day between 0 and (select chain_days from history.option)))
    and not exists (select 1 from history.event as f where f.unit_id = e.unit_id and f.component = e.component
        and f.part_fitted and f.reported_at >= e.reported_at)
qualify row_number() over (partition by e.unit_id, e.component order by e.reported_at desc, e.visit_id desc) = 1;
