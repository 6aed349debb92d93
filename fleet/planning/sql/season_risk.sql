-- The past seasons: time in service of every part position, and the parts fitted, in the same days of each year.
-- Vacant time stays in: rounds go on in empty homes, and what is fitted there is needed too.
-- history.season(season_id, from_day, to_day exclusive): one row a past season, filled in by the caller.
-- history.season_risk_unit: one row a unit, a season, component and state of part: days at risk.
-- state: the age of a part whose birth is known, else the age of its unit (its part is no older).
-- Inputs: history.stretch, spell, part, event, unit.
create or replace macro part_state(day, born_on, installed_on) as (
    case
        when born_on is not null then case
            when day < born_on + interval 1 year then 'part 0-1'
            when day < born_on + interval 3 year then 'part 1-3'
            when day < born_on + interval 6 year then 'part 3-6'
            else 'part 6+' end
        when installed_on is null then 'unit unknown'
        when day < installed_on + interval 5 year then 'unit 0-5'
        when day < installed_on + interval 10 year then 'unit 5-10'
        when day < installed_on + interval 15 year then 'unit 10-15'
        else 'unit 15+' end
);

create or replace table history.season_piece as
select s.season_id, o.unit_id, greatest(o.from_day, s.from_day) as from_day, least(o.to_day, s.to_day) as to_day
from history.stretch as o join history.season as s on o.from_day < s.to_day and o.to_day > s.from_day;

-- refrigerant put in on visits: ounces in the log, pounds in orders
create or replace table history.refrigerant_added as
select v.visit_id, v.unit_id, v.day, coalesce(nullif(v.refrigerant_added_oz, 0), p.ounces) / 16 as pounds
from history.visit as v
left join (
    select visit_id, sum(quantity) as ounces from history.part where component = 'refrigerant' group by visit_id
) as p using (visit_id)
where v.unit_id is not null and (v.refrigerant_added_oz > 0 or p.ounces > 0);

create or replace table history.loose_component as
select distinct component from history.part
where component is not null and component <> 'refrigerant' and component not in (select component from history.position)
union
select 'refrigerant' where exists (select 1 from history.refrigerant_added);

-- A position keeps the state it began the season with: parts renewed in the season then count for what was there.
create or replace table history.season_start as
select season_id, unit_id, min(from_day) as first_day from history.season_piece group by all;

create or replace table history.season_position as
select b.season_id, b.unit_id, p.component, p.from_day as known_from,
    part_state(b.first_day, s.born_on, u.installed_on) as state
from history.season_start as b
join history.position as p using (unit_id)
join history.unit as u using (unit_id)
asof left join (
    select unit_id, component, start_on, max(born_on) as born_on from history.spell group by all
) as s on s.unit_id = b.unit_id and s.component = p.component and b.first_day >= s.start_on
union all
-- whole units, portable coolers: every unit may need one, whatever the age of a part
select b.season_id, b.unit_id, c.component, null, 'any' from history.season_start as b cross join history.loose_component as c;

create or replace table history.season_risk_unit as
select o.season_id, o.unit_id, o.component, o.state,
    sum(greatest(p.to_day - greatest(p.from_day, coalesce(o.known_from, p.from_day)), 0))::double as days
from history.season_position as o join history.season_piece as p using (season_id, unit_id)
group by all;
