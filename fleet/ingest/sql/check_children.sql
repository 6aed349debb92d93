-- readings and parts go where their visit goes; a totals row at the foot is a blank.
create or replace table memory.main.visit_state as
select visit_id, bool_or(standing is null) as kept
from log.landing.visit
where coalesce(standing, '') <> 'blank'
    and visit_id in (select visit_id from log.landing.reading union all select visit_id from log.landing.part)
group by all;

update log.landing.reading as r
set standing = case when regexp_matches(r.visit_id, '^(grand\s+|sub\s*)?totals?\b', 'i') then 'blank' else 'quarantined' end,
    reason = case when regexp_matches(r.visit_id, '^(grand\s+|sub\s*)?totals?\b', 'i') then 'totals row' else 'visit_unknown' end
where r.standing is null and r.visit_id not in (select visit_id from memory.main.visit_state);

update log.landing.reading as r set standing = 'quarantined', reason = 'visit_quarantined'
from memory.main.visit_state as s
where r.standing is null and r.visit_id = s.visit_id and not s.kept;

update log.landing.part as p
set standing = case when regexp_matches(p.visit_id, '^(grand\s+|sub\s*)?totals?\b', 'i') then 'blank' else 'quarantined' end,
    reason = case when regexp_matches(p.visit_id, '^(grand\s+|sub\s*)?totals?\b', 'i') then 'totals row' else 'visit_unknown' end
where p.standing is null and p.visit_id not in (select visit_id from memory.main.visit_state);

update log.landing.part as p set standing = 'quarantined', reason = 'visit_quarantined'
from memory.main.visit_state as s
where p.standing is null and p.visit_id = s.visit_id and not s.kept;
