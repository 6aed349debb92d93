-- history.spell: one row a part position of a unit between two replacements, or the edges of what the log saw.
-- Key: spell_id. Ages in years; end_on is the day after the last, or the day of the replacement.
-- ended: failed | weak | preventive | upgrade | unknown | unit retired | in service | log gap.
-- age_known: known (born in the log) | bounded (some age up to the unit's, or to the last part's known) | unknown.
-- Inputs: history.stretch, history.unit, history.fitting, history.observed, history.position
create table history.spell as
with born as (
    -- the position as the log first sees it in each stretch; a kit fitted in the log begins with its fitting, below
    select s.unit_id, p.component, s.from_day as stretch_from, s.to_day as stretch_to, s.from_day as start_on,
        null::varchar as part_no, null::varchar as lot, null::varchar as fitted_visit_id, null::timestamp as fitted_at,
        case when u.service_from >= s.covered_from and u.service_from = s.from_day and p.from_day is null
            then u.service_from end as born_on
    from history.stretch as s
    join history.unit as u using (unit_id)
    join history.position as p using (unit_id)
    where p.from_day is null or p.from_day < s.from_day
    union all
    select f.unit_id, f.component, s.from_day, s.to_day, f.ends_on, f.part_no, f.lot, f.visit_id, f.reported_at, f.ends_on
    from history.fitting as f
    join history.stretch as s on s.unit_id = f.unit_id and f.ends_on >= s.from_day and f.ends_on < s.to_day
    where f.new_part
),
followed as (
    select *, lead(start_on) over spells as next_start, lead(fitted_visit_id) over spells as next_visit_id
    from born
    window spells as (partition by unit_id, component, stretch_from
        order by start_on, fitted_at nulls first, fitted_visit_id nulls first)
),
closed as (
    select b.*, u.installed_on, u.property, coalesce(b.next_start, b.stretch_to) as end_on,
        coalesce(b.next_visit_id, gone.visit_id) as ended_visit_id,
        case
            when b.next_start is not null then f.meaning
            when gone.visit_id is not null then 'failed'
            when u.service_to + 1 = b.stretch_to then 'unit retired'
            when exists (select 1 from history.stretch as s where s.unit_id = b.unit_id and s.from_day > b.stretch_from)
                then 'log gap'
            else 'in service' end as ended
    from followed as b
    join history.unit as u using (unit_id)
    left join history.fitting as f on f.visit_id = b.next_visit_id and f.component = b.component
    left join history.fitting as gone on gone.unit_id = b.unit_id and gone.component = b.component
        and not gone.new_part and b.next_start is null and b.stretch_to = u.service_to + 1
),
aged as (
    -- no older than the unit, nor than the last part the log saw fitted before (a gap may hide a younger one)
    select c.*, case when c.born_on is null then greatest(c.installed_on, before.ends_on) end as oldest_birth
    from closed as c
    asof left join (select unit_id, component, ends_on from history.fitting where new_part) as before
        on before.unit_id = c.unit_id and before.component = c.component and c.start_on > before.ends_on
)
select row_number() over (order by unit_id, component, start_on, fitted_at nulls first, fitted_visit_id)::integer as spell_id,
    unit_id, component, property, start_on, end_on, born_on,
    case when born_on is not null then 'known' when oldest_birth is not null then 'bounded' else 'unknown' end as age_known,
    (start_on - born_on) / 365.25 as entry_age,
    -- a part that failed on the day it was fitted lived half a day
    case when born_on is not null then greatest(end_on - born_on, 0.5) / 365.25 end as exit_age,
    (start_on - oldest_birth) / 365.25 as entry_age_at_most,
    ended, fitted_visit_id, ended_visit_id, part_no, lot
from aged;

-- days at risk of each spell: its overlap with observed time
create table history.spell_days as
select s.spell_id, sum(least(s.end_on, o.to_day) - greatest(s.start_on, o.from_day))::bigint as days
from history.spell as s join history.observed as o
    on o.unit_id = s.unit_id and o.from_day < s.end_on and o.to_day > s.start_on
group by s.spell_id;
