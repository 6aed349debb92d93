-- history.lot_band: one row a part fitted in the log and band of its age: years at risk and whether it failed there.
-- Key: (spell_id, band). Parts fitted without a lot stand beside the others, with lot null.
-- Failures in time taken out of the log (gaps, vacancy) aren't counted, as their time isn't.
-- Inputs: history.spell, history.observed, history.unit, history.lot_age(band, from_day, to_day)
create or replace table history.lot_band as
with fitted as (
    select s.spell_id, s.unit_id, s.component, s.part_no, s.lot, s.start_on, s.end_on,
        s.ended = 'failed' and exists (select 1 from history.observed as o where o.unit_id = s.unit_id
            and s.end_on >= o.from_day and s.end_on < o.to_day + 1) as failed
    from history.spell as s
    where s.fitted_visit_id is not null
),
piece as (
    select f.spell_id, f.unit_id, f.component, f.part_no, f.lot, b.band,
        greatest(f.start_on, f.start_on + b.from_day, o.from_day) as from_day,
        least(f.end_on, f.start_on + b.to_day, o.to_day) as to_day
    from fitted as f
    join history.lot_age as b on true
    join history.observed as o on o.unit_id = f.unit_id
),
at_risk as (
    select spell_id, band, sum(to_day - from_day) / 365.25 as years from piece where to_day > from_day group by spell_id, band
)
-- a failure belongs to the band of its last day at risk; a part that failed on the day it was fitted lived half a day
select f.spell_id, f.unit_id, f.component, f.part_no, f.lot, coalesce(u.model_family, 'unknown') as model_family, b.band,
    greatest(coalesce(a.years, 0), case when b.band = 0 and f.failed then 0.5 / 365.25 else 0 end) as years,
    f.failed and greatest(f.end_on - f.start_on - 1, 0) >= b.from_day
        and greatest(f.end_on - f.start_on - 1, 0) < b.to_day as failed
from fitted as f
join history.unit as u using (unit_id)
join history.lot_age as b on true
left join at_risk as a on a.spell_id = f.spell_id and a.band = b.band
where coalesce(a.years, 0) > 0 or b.band = 0;
