-- Which spelling of a name holds. Inputs: memory.main.spelled(place, name, plain, defined, n, merges).
-- Outputs: memory.main.spelling(place, name, meant), memory.main.spelled_alike(a, b).
create or replace table memory.main.spelled_alike as
select a.name as a, b.name as b
from memory.main.spelled as a join memory.main.spelled as b on a.place = b.place and a.plain = b.plain and a.name < b.name
where a.defined and b.defined and not a.merges;

create or replace table memory.main.spelling as
with ranked as (
    select *, count(*) filter (defined) over same as n_defined,
        first_value(name) over (same order by defined desc, n desc, name) as meant
    from memory.main.spelled
    window same as (partition by place, plain)
)
select place, name, meant from ranked
where name <> meant and plain <> ''
    -- one defined spelling is meant; among several none is guessed, unless the names are merged wherever they stand
    and case when merges then true when n_defined = 0 then true else n_defined = 1 and not defined end;
