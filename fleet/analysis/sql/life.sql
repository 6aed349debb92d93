-- history.life: one row a stretch of a part's life that the log saw, as the life fit takes it. Key: spell_id. Years.
-- birth: known (born in the log) | carried (born in the log, seen again after a short gap; taken to be the same part)
--   | bounded (no older than at_most, of which the last quiet years without a change) | unknown | lost (a long gap lies between).
-- watched: how long; found_since: for a failure found on a round, how long it had been watched at the last visit before.
-- unit_went: the failure took the whole unit with it. ended: as in history.spell.
-- Inputs: history.spell, history.unit, history.visit; ? = longest gap, days, over which a part is carried
create or replace table history.life as
with linked as (
    select *, lag(ended) over spells as ended_before, start_on - lag(end_on) over spells as gap_days
    from history.spell
    window spells as (partition by unit_id, component order by start_on, spell_id)
),
numbered as (
    select *, ended_before = 'log gap' and fitted_visit_id is null as resumed,
        sum(case when ended_before = 'log gap' and fitted_visit_id is null then 0 else 1 end) over (
            partition by unit_id, component order by start_on, spell_id rows unbounded preceding) as life
    from linked
),
traced as (
    select *, first_value(born_on) over lives as life_born_on, first_value(start_on) over lives as life_start_on,
        first_value(part_no) over lives as life_part_no, first_value(lot) over lives as life_lot,
        max(case when resumed then gap_days end) over lives as longest_gap_days
    from numbered
    window lives as (partition by unit_id, component, life order by start_on, spell_id rows unbounded preceding)
),
last_look as (
    -- the visit before the one that found the failure on a round
    select t.spell_id, max(v.day) as day
    from traced as t
    join history.visit as f on f.visit_id = t.ended_visit_id and f.is_round
    join history.visit as v on v.unit_id = t.unit_id and v.day < t.end_on
    where t.ended = 'failed'
    group by t.spell_id
)
select t.spell_id, t.unit_id, t.component, t.life_part_no as part_no, t.life_lot as lot, t.ended,
    case when t.born_on is not null then 'known'
        when t.resumed and t.longest_gap_days > ? then 'lost'
        when t.resumed and t.life_born_on is not null then 'carried'
        else t.age_known end as birth,
    (t.start_on - coalesce(t.born_on, t.life_born_on)) / 365.25 as entry_age,
    t.entry_age_at_most as at_most,
    case when t.born_on is null and t.resumed then (t.start_on - t.life_start_on) / 365.25 else 0.0 end as quiet,
    greatest(t.end_on - t.start_on, 0.5) / 365.25 as watched,
    case when f.is_round then greatest(coalesce(l.day, t.start_on) - t.start_on, 0) / 365.25 end as found_since,
    coalesce(t.ended = 'failed' and t.end_on = u.service_to + 1, false) as unit_went
from traced as t
join history.unit as u using (unit_id)
left join last_look as l using (spell_id)
left join history.visit as f on f.visit_id = t.ended_visit_id and t.ended = 'failed'
order by t.spell_id;
