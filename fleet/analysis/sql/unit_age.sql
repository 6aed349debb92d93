-- history.unit_age: one row a unit and band of its age: years at risk in the log. Key: (unit_id, band).
-- band is the age in whole years at the band's lower edge, -1 where the installation date is unknown.
-- Inputs: history.observed, history.unit, history.age_band(band, from_year, to_year)
create or replace table history.unit_age as
with aged as (
    select o.unit_id, o.from_day, o.to_day, u.installed_on
    from history.observed as o join history.unit as u using (unit_id)
),
cut as (
    select a.unit_id, b.band,
        greatest(a.from_day, a.installed_on + (b.from_year * 365.25)::integer) as from_day,
        least(a.to_day, a.installed_on + (b.to_year * 365.25)::integer) as to_day
    from aged as a join history.age_band as b on a.installed_on is not null
    union all
    select unit_id, -1, from_day, to_day from aged where installed_on is null
)
select unit_id, band, sum(to_day - from_day) / 365.25 as years from cut where to_day > from_day group by unit_id, band;

-- history.unit_call: one row a call that counts against a unit: a failure chain of any component, or a chain of visits on
-- which no fault was found. Those that began on preventive maintenance or turnover are no calls.
create or replace table history.unit_call as
select c.unit_id, c.failed_on as day, c.component, v.call_type in ('preventive maintenance', 'turnover') and c.no_fault_n is null as on_plan
from history.chain as c join history.visit as v on v.visit_id = c.first_visit_id
where c.counted
union all
select f.unit_id, f.started_on, 'no fault found', v.call_type = 'turnover'
from history.open_no_fault_chain as f join history.visit as v using (visit_id)
where f.counted;
