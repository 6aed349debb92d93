-- visits, after older versions are out: two at one time. Inputs: log.landing.visit, equipment.
-- The hash narrows millions of rows to the few that share a minute before anything is compared.
create or replace table memory.main.same_minute as
select equipment_id, reported_at from log.landing.visit
where standing is null and reported_at_has_time and hash(equipment_id, reported_at) in (
    select h from (select hash(equipment_id, reported_at) as h from log.landing.visit
        where standing is null and reported_at_has_time)
    group by h having count(*) > 1)
group by all having count(*) > 1;

update log.landing.visit as v
set notice = concat_ws(' | ', v.notice, 'same_time_twice: another visit was reported then')
from memory.main.same_minute as s
where v.standing is null and v.equipment_id = s.equipment_id and v.reported_at = s.reported_at;

create or replace table memory.main.two_places as
select technician, arrived_at
from (
    select v.technician, v.arrived_at, e.building
    from log.landing.visit as v
    join (select equipment_id, any_value(building) as building from log.landing.equipment where standing is null group by all)
        as e using (equipment_id)
    where v.standing is null and v.arrived_at_has_time and v.technician is not null and hash(v.technician, v.arrived_at) in (
        select h from (select hash(technician, arrived_at) as h from log.landing.visit
            where standing is null and arrived_at_has_time and technician is not null)
        group by h having count(*) > 1)
)
group by all having count(distinct building) > 1;

update log.landing.visit as v
set notice = concat_ws(' | ', v.notice, 'two_places_at_once: ' || v.technician || ' arrived elsewhere at that minute')
from memory.main.two_places as t
where v.standing is null and v.technician = t.technician and v.arrived_at = t.arrived_at;
