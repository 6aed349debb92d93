-- history.rate_piece anew, with days weighed by heat. Key: (unit_id, age_band).
-- history.heat_filled: unit-days at risk in all, of them without weather of their own, and without any.
-- Inputs: history.age_stretch, history.unit, history.heat_running
-- Sums are rounded to a millionth of a day: their last digits depend on the order in which threads add.
create or replace table history.rate_piece as
select s.unit_id, s.age_band, round(sum(e.running - b.running)::double, 6) as days,
    round(sum(greatest(e.running - greatest(b.running, coalesce(k.running, e.running)), 0))::double, 6) as kit_days
from history.age_stretch as s
join history.unit as u using (unit_id)
join history.heat_running as b on b.property = u.property and b.day = s.from_day
join history.heat_running as e on e.property = u.property and e.day = s.to_day
left join history.heat_running as k on k.property = u.property and k.day = greatest(s.kit_from, s.from_day)
group by all;

create or replace table history.heat_filled as
select coalesce(sum(s.to_day - s.from_day), 0)::double as days, coalesce(sum(e.filled - b.filled), 0)::double as filled,
    coalesce(sum(e.bare - b.bare), 0)::double as bare
from history.age_stretch as s
join history.unit as u using (unit_id)
join history.heat_running as b on b.property = u.property and b.day = s.from_day
join history.heat_running as e on e.property = u.property and e.day = s.to_day;
