-- One row a part of a suspect lot that is still in service, with where it is and how old.
-- Inputs: history.spell, history.unit, history.suspect_lot, history.lot_band
select u.property, u.building, u.equipment_id, u.apartment, u.priority_home, s.component,
    coalesce(s.part_no, '') as part_no, s.lot, s.start_on as fitted_on, s.exit_age as age_years, u.warranty_until,
    u.unit_id
from history.spell as s
join history.unit as u using (unit_id)
join history.suspect_lot as l on l.component = s.component and l.lot = s.lot and l.part_no is not distinct from s.part_no
where s.ended = 'in service' and s.fitted_visit_id is not null
order by u.property, u.building, u.equipment_id, s.component;
