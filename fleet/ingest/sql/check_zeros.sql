-- readings: what sense each one makes.
-- sense: ok | open (zero, supported) | not measured (zero, unsupported) | implausible (kept out of drift)
-- Inputs: log.landing.reading, part, memory.main.rating (check_readings). Grain: one row a reading.
-- a zero is an open section where the finding, a part fitted as failed or a sane other section supports it
create or replace table memory.main.capacitor_evidence as
select g.visit_id,
    g.finding = 'run capacitor' or bool_or(p.component = 'run capacitor' and p.why = 'failed') as run_failed,
    g.finding = 'hard start' or bool_or(p.component = 'hard start' and p.why = 'failed') as start_failed
from memory.main.rating as g
left join (from log.landing.part where standing is null) as p on p.visit_id = g.visit_id
group by g.visit_id, g.finding;

create or replace table memory.main.zero_column as
select component, bool_and(value_uf = 0) and count(*) >= 5 as all_zero
from log.landing.reading where standing is null group by component;

create or replace table memory.main.sane_other as
select visit_id, stage, bool_or(component = 'herm' and value_uf > coalesce(0.5 * rated_uf, 0)) as herm_sane,
    bool_or(component = 'fan' and value_uf > coalesce(0.5 * rated_uf, 0)) as fan_sane
from log.landing.reading where standing is null group by all;

update log.landing.reading as r set sense = case
    when r.value_uf = 0 and r.component in ('herm', 'fan') and coalesce(e.run_failed, false) then 'open'
    when r.value_uf = 0 and r.component = 'start' and coalesce(e.start_failed, false) then 'open'
    when r.value_uf = 0 and z.all_zero then 'not measured'
    when r.value_uf = 0 and r.component = 'herm' and coalesce(o.fan_sane, false) then 'open'
    when r.value_uf = 0 and r.component = 'fan' and coalesce(o.herm_sane, false) then 'open'
    when r.value_uf = 0 then 'not measured'
    when r.value_uf < 0 or (r.rated_uf > 0 and r.value_uf > 1.6 * r.rated_uf) then 'implausible'
    else 'ok' end
from memory.main.capacitor_evidence as e, memory.main.zero_column as z, memory.main.sane_other as o
where r.standing is null and e.visit_id = r.visit_id and z.component = r.component
    and o.visit_id = r.visit_id and o.stage is not distinct from r.stage;

update log.landing.reading
set notice = concat_ws(' | ', notice, case sense
    when 'not measured' then 'zero_not_measured: a zero that nothing supports, kept out of drift'
    else 'implausible_reading: ' || round(value_uf, 2) || ' where ' || coalesce(rated_uf::varchar, 'nothing')
        || ' is rated, kept out of drift' end)
where standing is null and sense in ('not measured', 'implausible');
