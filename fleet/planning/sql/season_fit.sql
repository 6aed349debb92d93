-- history.season_fit: one row a visit and component of a past season on which parts were fitted.
-- Inputs: history.part, event, chain, season_piece, season_position, refrigerant_added.
-- parts fitted in those days: pieces (pounds of refrigerant) by what they were fitted for
create or replace table history.season_fit as
with fitted as (
    select p.visit_id, p.unit_id, p.component, p.day, sum(p.quantity) as pieces,
        coalesce(any_value(e.meaning), case
            when bool_or(p.why = 'failed') then 'failed' when bool_or(p.why = 'weak') then 'weak'
            when bool_or(p.why = 'preventive') then 'preventive' when bool_or(p.why = 'upgrade') then 'upgrade'
            else 'unknown' end) as why
    from history.part as p
    left join history.event as e on e.visit_id = p.visit_id and e.component = p.component
    where p.component is not null and p.component <> 'refrigerant' and p.unit_id is not null
    group by p.visit_id, p.unit_id, p.component, p.day
    union all
    select visit_id, unit_id, 'refrigerant', day, pounds, 'failed' from history.refrigerant_added
    union all
    -- a log without any parts: each failure of a part is taken to need one piece (the caller says so)
    select c.first_visit_id, c.unit_id, c.component, c.failed_on, 1, 'failed'
    from history.chain as c
    where c.component in (from history.part_component) and not exists (select 1 from history.part)
),
placed as (
    select f.*, s.season_id
    from fitted as f
    join history.season_piece as s on s.unit_id = f.unit_id and f.day >= s.from_day and f.day < s.to_day
)
-- each with the state its position began the season with
select p.season_id, p.unit_id, u.property, u.building, p.component, p.why, p.pieces, o.state,
    coalesce(u.model_family, 'unknown') as model_family, u.compressor_type
from placed as p
join history.unit as u using (unit_id)
join history.season_position as o
    on o.season_id = p.season_id and o.unit_id = p.unit_id and o.component = p.component;
