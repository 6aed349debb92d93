-- The past seasons: time at risk of every part position, and the parts fitted, in the same days of each year.
-- history.season(season_id, from_day, to_day exclusive): one row a past season, filled in by the caller.
-- history.season_risk: one row a season, component and state of part: days at risk. history.season_fit: parts fitted.
-- state: the age of a part whose birth is known, else the age of its unit (its part is no older).
-- Inputs: history.observed, spell, part, event, unit.
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
from history.observed as o join history.season as s on o.from_day < s.to_day and o.to_day > s.from_day;

create or replace table history.loose_component as
select distinct component from history.part
where component is not null and component <> 'refrigerant' and component not in (select component from history.position);

create or replace table history.season_risk_unit as
select p.season_id, p.unit_id, s.component,
    part_state(greatest(p.from_day, s.start_on) + ((least(p.to_day, s.end_on) - greatest(p.from_day, s.start_on)) // 2)::integer,
        s.born_on, u.installed_on) as state,
    sum(least(p.to_day, s.end_on) - greatest(p.from_day, s.start_on))::double as days
from history.season_piece as p
join history.spell as s on s.unit_id = p.unit_id and s.start_on < p.to_day and s.end_on > p.from_day
join history.unit as u on u.unit_id = p.unit_id
group by all
union all
-- whole units, portable coolers: every unit may need one, whatever the age of a part
select p.season_id, p.unit_id, c.component, 'any', sum(p.to_day - p.from_day)::double
from history.season_piece as p cross join history.loose_component as c
group by all;

-- parts fitted in those days: pieces by what they were fitted for
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
),
placed as (
    select f.*, s.season_id
    from fitted as f
    join history.season_piece as s on s.unit_id = f.unit_id and f.day >= s.from_day and f.day < s.to_day
)
-- the part that came off: the spell that ended that day (or the one in service, for a second part of one chain)
select p.season_id, p.unit_id, u.property, u.building, p.component, p.why, p.pieces,
    case when p.component in (from history.loose_component) then 'any'
        else part_state(p.day, s.born_on, u.installed_on) end as state,
    coalesce(u.model_family, 'unknown') as model_family, u.compressor_type
from placed as p
join history.unit as u using (unit_id)
left join (
    select unit_id, component, start_on, end_on, born_on from history.spell
) as s on s.unit_id = p.unit_id and s.component = p.component and s.start_on < p.day and s.end_on >= p.day
qualify row_number() over (partition by p.visit_id, p.component order by s.start_on desc nulls last) = 1;
