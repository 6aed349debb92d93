-- readings: what was measured in microfarads, slips of unit, point and lead put right.
-- Inputs: log.landing.reading, visit, equipment. Grain: one row a reading.
create or replace table memory.main.rating as
select v.visit_id, v.finding,
    e.herm_uf, e.fan_uf, e.start_uf_min, e.start_uf_max
from (select visit_id, finding, equipment_id, reported_at from log.landing.visit where standing is null) as v
asof left join (
    select equipment_id, coalesce(installed_on, date '1900-01-01')::timestamp as since,
        herm_uf, fan_uf, start_uf_min, start_uf_max
    from log.landing.equipment where standing is null
) as e on v.equipment_id = e.equipment_id and v.reported_at >= e.since
where v.visit_id in (select visit_id from log.landing.reading);

-- running: C = 10^6 I / (2 pi f V), 60 Hz unless said
update log.landing.reading as r set
    rated_uf = case r.component when 'herm' then g.herm_uf when 'fan' then g.fan_uf else g.start_uf_min end,
    value_uf = case
        when r.value is null and r.volts > 0 and r.amps is not null
            then r.amps * 1e6 / (2 * pi() * coalesce(nullif(r.hertz, 0), 60) * r.volts)
        when r.unit is null or r.unit = 'uF' then r.value
        when r.unit = 'nF' then r.value / 1e3
        when r.unit = 'pF' then r.value / 1e6
        when r.unit = 'mF' then r.value * 1e3
        when r.unit = 'F' then r.value * 1e6
    end
from memory.main.rating as g
where r.standing is null and r.visit_id = g.visit_id;

update log.landing.reading
set standing = 'quarantined', reason = case
    when value is null then 'value_missing'
    else 'unit_unknown' end
where standing is null and value_uf is null;

-- mF is a thousand microfarads by the standard; where that is absurd and microfarads are not, the trade's is meant
update log.landing.reading
set value_uf = value, notice = concat_ws(' | ', notice, 'millifarad_slip: ' || value || ' ' || unit || ' read as microfarads')
where standing is null and unit = 'mF' and value > 0
    and coalesce(value_uf / rated_uf, value_uf / 80) > 20 and coalesce(value / rated_uf, value / 80) <= 20;

-- 450 where 45.0 is rated: the decimal point slipped
update log.landing.reading
set value_uf = value_uf / 10, notice = concat_ws(' | ', notice, 'decimal_slip: ' || value || ' read as ' || value_uf / 10)
where standing is null and component <> 'start' and rated_uf > 0 and value_uf / rated_uf between 8 and 11.5;

-- herm and fan leads swapped: each section reads as the other one is rated
create or replace table memory.main.swapped as
select h.visit_id, h.stage, h.value_uf as herm_value, f.value_uf as fan_value
from (from log.landing.reading where standing is null and component = 'herm') as h
join (from log.landing.reading where standing is null and component = 'fan') as f
    on h.visit_id = f.visit_id and h.stage is not distinct from f.stage and h.source_id = f.source_id
where h.rated_uf > 2 * f.rated_uf
    and h.value_uf / f.rated_uf between 0.7 and 1.3 and f.value_uf / h.rated_uf between 0.7 and 1.3;

update log.landing.reading as r
set value_uf = case r.component when 'herm' then s.fan_value else s.herm_value end,
    notice = concat_ws(' | ', r.notice, 'sections_swapped: herm and fan readings exchanged')
from memory.main.swapped as s
where r.standing is null and r.component in ('herm', 'fan') and r.visit_id = s.visit_id
    and r.stage is not distinct from s.stage;
