-- How a date or a time is read with care from the text of rows a glance (glance.sql) didn't settle.
-- Each macro returns null for what it can't read.

-- years with two digits are of this century; day and month in the order settled for the column
create or replace macro slashed(s) as (
    regexp_replace(
        regexp_replace(trim(s), '^(\d{1,2})[-./](\d{1,2})[-./](\d{2})(\D|$)', '\1/\2/20\3\4'),
        '^(\d{1,2})[-./](\d{1,2})[-./](\d{4})(\D|$)', '\1/\2/\3\4'
    )
);
create or replace macro sane_time(t) as case when t between timestamp '1900-01-01' and timestamp '2199-12-31' then t end;
create or replace macro read_iso(s) as (
    case when regexp_matches(s, '^\s*\d{1,2}[-./]') then null
        when regexp_matches(s, '[AaPp]\.?[Mm]\.?\s*$') then
            try_strptime(replace(trim(s), 'T', ' '), ['%Y-%m-%d %I:%M %p', '%Y-%m-%d %I:%M:%S %p', '%Y/%m/%d %I:%M %p'])
        else sane_time(try_cast(s as timestamp)) end
);
create or replace macro read_mdy(s) as (
    try_strptime(slashed(s), [
        '%m/%d/%Y', '%m/%d/%Y %H:%M', '%m/%d/%Y %H:%M:%S', '%m/%d/%Y %I:%M %p', '%m/%d/%Y %I:%M%p', '%m/%d/%Y %I:%M:%S %p'
    ])
);
create or replace macro read_dmy(s) as (
    try_strptime(slashed(s), [
        '%d/%m/%Y', '%d/%m/%Y %H:%M', '%d/%m/%Y %H:%M:%S', '%d/%m/%Y %I:%M %p', '%d/%m/%Y %I:%M%p', '%d/%m/%Y %I:%M:%S %p'
    ])
);
-- "3 Apr 2024", "April 3, 2024 14:05", "03-Apr-24"
create or replace macro spelled(s) as (
    regexp_replace(
        regexp_replace(regexp_replace(trim(s), '[,.-]', ' ', 'g'), '\s+', ' ', 'g'),
        '^(\d{1,2} [A-Za-z]+|[A-Za-z]+ \d{1,2}) (\d{2})( |$)', '\1 20\2\3'
    )
);
create or replace macro read_spelled(s) as (
    case when regexp_matches(s, '[A-Za-z]{3}') then
        try_strptime(spelled(s), [
            '%d %b %Y', '%d %b %Y %H:%M', '%d %b %Y %H:%M:%S', '%d %b %Y %I:%M %p',
            '%b %d %Y', '%b %d %Y %H:%M', '%b %d %Y %H:%M:%S', '%b %d %Y %I:%M %p',
            '%d %B %Y', '%d %B %Y %H:%M', '%d %B %Y %H:%M:%S', '%d %B %Y %I:%M %p',
            '%B %d %Y', '%B %d %Y %H:%M', '%B %d %Y %H:%M:%S', '%B %d %Y %I:%M %p'
        ])
    end
);
-- spreadsheet serial numbers: days since 1899-12-30 (1950 to 2099)
create or replace macro read_serial(s) as (
    case when regexp_matches(trim(s), '^\d{5}(\.\d+)?$') and try_cast(s as double) between 18264 and 73050 then
        date_trunc('second', timestamp '1899-12-30' + to_seconds(try_cast(s as double) * 86400 + 0.5))
    end
);
create or replace macro read_datetime_iso(s) as (coalesce(read_iso(s), read_serial(s), read_spelled(s)));
create or replace macro read_datetime_mdy(s) as (coalesce(read_iso(s), read_mdy(s), read_serial(s), read_spelled(s)));
create or replace macro read_datetime_dmy(s) as (coalesce(read_iso(s), read_dmy(s), read_serial(s), read_spelled(s)));
