-- Refused records that a corrected one stands for, and corrections that a later one of the same record stands for.
-- Inputs: log.landing.correction, log.landing.source. Grain: one row a record that gives up its place.
create or replace table memory.main.replaced as
with given_up as (
    select origin_source as source_id, origin_record as record from log.landing.correction
    union
    select e.source_id, e.record from log.landing.correction as e
    join log.landing.correction as l on l.origin_source = e.origin_source and l.origin_record = e.origin_record
        and (l.source_id, l.record) > (e.source_id, e.record)
)
select distinct g.source_id, g.record, s.first_place, s.landed_in
from given_up as g join log.landing.source as s on s.source_id = g.source_id;
