-- history.spell: one row a part position of a unit between two replacements, or the edges of what the log saw.
-- Key: spell_id. Ages in years. ended: failed | weak | preventive | upgrade | unknown | unit retired | in service | log gap.
-- age_known: known (born in the log) | bounded (some age up to the unit's) | unknown.
-- Inputs: history.stretch, history.unit, history.event, history.observed, history.position(unit_id, component, from_day)
create table history.spell as
with fit as (
    select unit_id, component, day, arg_max(meaning, reported_at) as meaning, arg_max(visit_id, reported_at) as visit_id,
        arg_max(part_no, reported_at) as part_no, arg_max(lot, reported_at) as lot
    from history.event where part_fitted
    group by unit_id, component, day
    union all
    -- a unit replaced for a failed component: that component's spell ends as failed
    select e.unit_id, e.component, e.day, 'failed', min(e.visit_id), null, null
    from history.event as e join history.unit as u using (unit_id)
    where e.meaning = 'failed' and not e.part_fitted and e.day = u.service_to
        and not exists (select 1 from history.event as f where f.unit_id = e.unit_id and f.component = e.component
            and f.day = e.day and f.part_fitted)
    group by all
),
born as (
    -- the position as the log first sees it in each stretch
    select s.unit_id, p.component, s.from_day as stretch_from, s.to_day as stretch_to,
        greatest(s.from_day, coalesce(p.from_day, s.from_day)) as start_on,
        null::varchar as part_no, null::varchar as lot, null::varchar as fitted_visit_id,
        case when u.service_from >= s.covered_from and u.service_from = s.from_day and p.from_day is null
            then u.service_from end as born_on
    from history.stretch as s
    join history.unit as u using (unit_id)
    join history.position as p using (unit_id)
    where coalesce(p.from_day, s.from_day) < s.to_day
        -- a kit fitted in the log begins with its fitting, below
        and (p.from_day is null or p.from_day < s.from_day)
    union all
    select f.unit_id, f.component, s.from_day, s.to_day, f.day, f.part_no, f.lot, f.visit_id, f.day
    from fit as f
    join history.stretch as s on s.unit_id = f.unit_id and f.day >= s.from_day and f.day < s.to_day
    where f.part_no is not null or f.visit_id in (
        select visit_id from history.event as e where e.part_fitted and e.component = f.component)
),
ended as (
    select b.*,
        lead(start_on) over spells as next_start,
        lead(fitted_visit_id) over spells as ended_visit_id
    from born as b
    window spells as (partition by unit_id, component, stretch_from order by start_on, fitted_visit_id nulls first)
),
closed as (
    select e.*, coalesce(e.next_start, e.stretch_to) as end_on,
        case
            when e.next_start is not null then f.meaning
            when d.meaning = 'failed' then 'failed'
            when u.service_to + 1 = e.stretch_to then 'unit retired'
            when exists (select 1 from history.stretch as s where s.unit_id = e.unit_id and s.from_day > e.stretch_from)
                then 'log gap'
            else 'in service' end as ended
    from ended as e
    join history.unit as u using (unit_id)
    left join fit as f on f.unit_id = e.unit_id and f.component = e.component and f.day = e.next_start
    left join fit as d on d.unit_id = e.unit_id and d.component = e.component and d.day = u.service_to
        and d.part_no is null and e.next_start is null and e.stretch_to = u.service_to + 1
),
aged as (
    select c.*, u.installed_on, u.property,
        case when c.born_on is not null then 'known'
            when u.installed_on is not null then 'bounded' else 'unknown' end as age_known
    from closed as c join history.unit as u using (unit_id)
)
select row_number() over (order by unit_id, component, start_on, fitted_visit_id nulls first)::integer as spell_id,
    unit_id, component, property, start_on, end_on, born_on, age_known,
    case age_known when 'known' then (start_on - born_on) / 365.25 end as entry_age,
    -- a part that failed on the day it was fitted lived half a day
    case age_known when 'known' then greatest(end_on - born_on, 0.5) / 365.25 end as exit_age,
    case age_known when 'bounded' then (start_on - installed_on) / 365.25 end as entry_age_at_most,
    ended, fitted_visit_id, ended_visit_id, part_no, lot
from aged;

-- days at risk of each spell: its overlap with observed time
create table history.spell_days as
select s.spell_id, sum(least(s.end_on, o.to_day) - greatest(s.start_on, o.from_day))::bigint as days
from history.spell as s join history.observed as o
    on o.unit_id = s.unit_id and o.from_day < s.end_on and o.to_day > s.start_on
group by s.spell_id;
