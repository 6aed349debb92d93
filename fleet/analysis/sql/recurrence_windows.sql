-- history.watched: one row a unit and stretch in which its log was kept and its home lived in; to_day is exclusive.
-- kit_from: the day from which a hard-start kit is known (null: no kit). Key: (unit_id, from_day).
-- history.repeated: one row a failure at risk, dated at its first report. A hard-start failure before a kit is known has
-- no time at risk and is left out, as in rates.
-- Inputs: history.observed, history.unit, history.position, history.chain
create or replace table history.watched as
select o.unit_id, o.from_day, o.to_day, u.installed_on,
    case when p.unit_id is not null then coalesce(p.from_day, o.from_day) end as kit_from
from history.observed as o
join history.unit as u using (unit_id)
left join history.position as p on p.unit_id = o.unit_id and p.component = 'hard start';

create or replace table history.repeated as
select c.unit_id, c.component, c.failed_on as day
from history.chain as c
left join history.position as p on p.unit_id = c.unit_id and p.component = c.component
where c.counted
    and (c.component <> 'hard start' or (p.unit_id is not null and c.failed_on >= coalesce(p.from_day, c.failed_on)));
