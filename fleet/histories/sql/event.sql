-- history.event: one row a visit and component it concerned, with what it meant. Key: (visit_id, component).
-- meaning: failed | weak | preventive | upgrade | unknown (a part fitted, nobody said why, the finding names another).
-- With several reasons the first of failed, weak, preventive, upgrade holds; a known reason wins over the finding.
-- Inputs: history.visit, history.part, history.counted_component(component)
create table history.event as
with fitted as (
    select visit_id, component,
        bool_or(why = 'failed') as failed, bool_or(why = 'weak') as weak,
        bool_or(why = 'preventive') as preventive, bool_or(why = 'upgrade') as upgrade,
        sum(quantity) as pieces, arg_max(part_no, (coalesce(unit_cost, 0), part_no)) as part_no, max(lot) as lot
    from history.part
    where component in (select component from history.counted_component)
    group by visit_id, component
),
concerned as (
    select v.visit_id, f.component, true as part_fitted, f.pieces, f.part_no, f.lot,
        case
            when f.failed then 'failed' when f.weak then 'weak' when f.preventive then 'preventive' when f.upgrade then 'upgrade'
            when v.finding = f.component and not v.is_round then 'failed'
            else 'unknown' end as meaning
    from history.visit as v join fitted as f using (visit_id)
    union all
    select v.visit_id, v.finding, false, 0, null, null, 'failed'
    from history.visit as v
    where v.finding in (select component from history.counted_component) and not v.is_round
        and not exists (select 1 from fitted as f where f.visit_id = v.visit_id and f.component = v.finding)
)
select c.*, v.unit_id, v.property, v.building, v.day, v.reported_at, v.is_round
from concerned as c join history.visit as v using (visit_id)
where v.unit_id is not null;

-- visits on which nothing was found at fault and nothing had failed
create table history.no_fault as
select v.visit_id, v.unit_id, v.day, v.reported_at
from history.visit as v
where v.unit_id is not null and v.finding = 'no fault found' and not v.is_round
    and v.visit_id not in (select visit_id from history.event where meaning = 'failed');
