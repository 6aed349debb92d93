-- The readers of date columns, one for each order of day and month (fleet/ingest/dates.py settles it), and of
-- spreadsheet serial numbers. Each macro returns null for what it can't read. Needs value_moments.sql.

create or replace macro sane_time(t) as (
    list_transform([t], lambda v_:
        case when v_ between timestamp '1900-01-01' and timestamp '2199-12-31' then v_ end)[1]
);
-- ordinary texts first: a cast reads them, once it is sure that nothing stands behind that a cast would pass over
create or replace macro plain_iso(s) as (
    regexp_full_match(s, '[0-9]{4}-[0-9]{2}-[0-9]{2}([ T][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?)?')
);
create or replace macro plain_slashed(s) as (
    regexp_full_match(s, '[0-9]{1,2}/[0-9]{1,2}/[0-9]{4}( [0-9]{1,2}:[0-9]{2}(:[0-9]{2})?)?')
);
create or replace macro cast_slashed(s, turned) as (
    try_cast(regexp_replace(s, '^([0-9]+)/([0-9]+)/([0-9]+)', turned) as timestamp)
);
-- spreadsheet serial numbers: days since 1899-12-30 (1950 to 2099), to the second; "45476,5" has a decimal comma
create or replace macro is_serial(s) as regexp_full_match(s, '\s*''?[0-9]{2},?[0-9]{3}([.,][0-9]+)?\s*');
create or replace macro read_serial(s) as (
    list_transform([try_cast(plain_number(tidy(s)) as double)], lambda n_: case when n_ between 18264 and 73050
        then date_trunc('second', timestamp '1899-12-30' + to_seconds(n_ * 86400 + 0.5)) end)[1]
);

create or replace macro read_datetime_iso(s) as sane_time(case
    when plain_iso(s) then try_cast(s as timestamp)
    when is_serial(s) then read_serial(s)
    else read_moment(s, '\0')
end);
create or replace macro read_datetime_mdy(s) as sane_time(case
    when plain_slashed(s) then cast_slashed(s, '\3-\1-\2')
    when plain_iso(s) then try_cast(s as timestamp)
    when is_serial(s) then read_serial(s)
    else read_moment(s, '=\3-\1-\2\4')
end);
create or replace macro read_datetime_dmy(s) as sane_time(case
    when plain_slashed(s) then cast_slashed(s, '\3-\2-\1')
    when plain_iso(s) then try_cast(s as timestamp)
    when is_serial(s) then read_serial(s)
    else read_moment(s, '=\3-\2-\1\4')
end);

-- is a time of day written?
create or replace macro says_time(s) as coalesce(case
    when contains(s, ':') then true
    when is_serial(s) then regexp_matches(s, '[0-9]{5}[.,]|,[0-9]{3}\.')
    else moment_parts(s, '=\3-\1-\2\4').t <> ''
end, false);
