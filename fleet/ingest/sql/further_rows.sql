-- Further rows of a sheet's visit share its fate; a later sheet's parts and readings replace earlier files'.
-- Inputs: log.landing.visit, part, reading, source
update log.landing.visit as f
set standing = case when v.standing = 'quarantined' then 'quarantined' else 'duplicate' end,
    reason = case when v.standing = 'quarantined' then v.reason else 'older_version' end
from (
    select visit_id, source_id, standing, any_value(reason) as reason from log.landing.visit
    where standing = 'quarantined' or reason in ('older_version', 'same_row') group by all
) as v
where f.standing = 'further row' and v.visit_id = f.visit_id and v.source_id = f.source_id
    and not exists (select 1 from log.landing.visit as k
        where k.visit_id = f.visit_id and k.source_id = f.source_id and k.standing is null);

create or replace table memory.main.sheet_kept as
select v.visit_id, v.source_id from log.landing.visit as v
join log.landing.source as s on s.source_id = v.source_id and s.is_sheet
where v.standing is null;

update log.landing.part as p set standing = 'duplicate', reason = 'older_version'
from memory.main.sheet_kept as k
where p.standing is null and p.visit_id = k.visit_id and p.source_id < k.source_id;

update log.landing.reading as r set standing = 'duplicate', reason = 'older_version'
from memory.main.sheet_kept as k
where r.standing is null and r.visit_id = k.visit_id and r.source_id < k.source_id;
