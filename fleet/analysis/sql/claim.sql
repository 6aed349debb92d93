-- One row a failed part that may be worth a warranty claim: fitted because the old one failed, marked as the maker's to
-- pay or on a unit whose parts warranty still ran, and no money got back so far.
-- suspect: the part that failed was of a lot in history.suspect_lot(part_no, lot, component).
-- Inputs: history.part, history.unit, history.spell, history.suspect_lot
select p.property, p.building, p.equipment_id, p.visit_id, p.day as failed_on, p.component, p.part_no,
    old.part_no as failed_part_no, old.lot as failed_lot, p.quantity, p.unit_cost,
    p.quantity * p.unit_cost as money, p.warranty as marked, u.warranty_until,
    s.lot is not null as suspect
from history.part as p
join history.unit as u using (unit_id)
left join history.spell as old on old.unit_id = p.unit_id and old.component = p.component
    and old.ended_visit_id = p.visit_id and old.ended = 'failed'
left join history.suspect_lot as s on s.component = p.component and s.lot = old.lot
    and s.part_no is not distinct from old.part_no
where p.why = 'failed' and coalesce(p.credit, 0) = 0 and coalesce(p.unit_cost, 1) > 0
    and (p.warranty or p.day <= u.warranty_until)
    -- what is cleaned, topped up or thrown away is no part of the maker's
    and p.component not in ('dirty filter', 'dirty coil', 'drain clog', 'refrigerant leak', 'refrigerant', 'other')
order by p.day, p.visit_id, p.component, p.part_no;
