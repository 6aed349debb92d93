-- history.capacitor_part: one row a run capacitor that hung in a unit: the one the log first sees (nth = 0), then each one
-- fitted. Key: (unit_id, nth). born_on is known for parts fitted in the log and for units installed in it.
-- Gaps in the log end no part here: a change nobody wrote down shows as a jump in the readings.
-- Inputs: history.unit, history.event, history.covered
create or replace table history.capacitor_part as
with fitted as (
    select unit_id, reported_at, visit_id, day,
        row_number() over (partition by unit_id order by reported_at, visit_id) as nth
    from history.event where component = 'run capacitor' and part_fitted
),
log_start as (
    select property, min(from_day) as first_day from history.covered group by property
),
part as (
    select u.unit_id, 0 as nth, null::timestamp as fitted_at, null::varchar as visit_id,
        case when u.installed_on >= l.first_day then u.installed_on end as born_on
    from history.unit as u left join log_start as l using (property)
    union all
    select unit_id, nth, reported_at, visit_id, day from fitted
)
select p.*, nth = max(nth) over (partition by unit_id) and u.service_to is null as in_service,
    u.equipment_id, u.property, u.building, coalesce(u.model_family, 'unknown') as model_family, u.installed_on,
    u.herm_uf, u.fan_uf, u.tolerance_pct
from part as p join history.unit as u using (unit_id);

-- history.capacitor_reading: one row a reading of a run capacitor's section, with the part it was taken on. Found: the
-- part before the visit; new and left: the part fitted on it, where one was.
-- use: yes | no sense (zero, shorted or absurd) | no rated value | new part never fitted
create or replace table history.capacitor_reading as
with fitting as (
    select visit_id, nth from history.capacitor_part where nth > 0
),
before as (
    select unit_id, nth, coalesce(fitted_at, timestamp '0001-01-01') as fitted_at, visit_id from history.capacitor_part
),
taken as (
    select r.unit_id, r.visit_id, r.component as section, r.stage, r.value_uf, r.rated_uf, r.method, r.meter, r.technician,
        r.sense, r.day, r.reported_at, r.is_round, f.nth as fitted_nth
    from history.reading as r left join fitting as f using (visit_id)
    where r.component in ('herm', 'fan') and r.unit_id is not null
)
select t.* exclude (fitted_nth),
    coalesce(case when t.stage <> 'found' then t.fitted_nth else t.fitted_nth - 1 end, b.nth) as nth,
    100 * (t.value_uf / nullif(t.rated_uf, 0) - 1) as dev_pct,
    case
        when t.sense <> 'ok' then 'no sense'
        when coalesce(t.rated_uf, 0) <= 0 then 'no rated value'
        when t.stage = 'new' and t.fitted_nth is null then 'new part never fitted'
        else 'yes' end as use
from taken as t
asof join before as b on t.unit_id = b.unit_id and t.reported_at >= b.fitted_at;
