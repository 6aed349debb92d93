-- How a typed value is read with care from the text of rows a glance (glance.sql) didn't settle.
-- Each macro returns null for what it can't read.

create or replace macro finite_or_null(d) as case when isfinite(d) then d end;

-- "$1,234.50", "(12.00)", "1.234,50 EUR", "44,2": signs, thousands and decimal commas
create or replace macro tidy_number(s) as (
    case
        when regexp_matches(trim(s), '^\(.*\)$') then '-' || regexp_replace(trim(s), '[()\s$€£]|[A-Za-z]+\.?$', '', 'g')
        else regexp_replace(trim(s), '[\s$€£]|[A-Za-z]+\.?$', '', 'g')
    end
);
create or replace macro plain_number(t) as (
    case
        when regexp_matches(t, '^[+-]?[0-9]{1,3}(,[0-9]{3})+(\.[0-9]+)?$') then replace(t, ',', '')
        when regexp_matches(t, '^[+-]?[0-9]{1,3}(\.[0-9]{3})+,[0-9]+$') then replace(replace(t, '.', ''), ',', '.')
        when regexp_matches(t, '^[+-]?[0-9]+,[0-9]+$') then replace(t, ',', '.')
        when regexp_matches(t, '^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)$') then t
    end
);
create or replace macro read_number(s) as (
    coalesce(
        case when not contains(s, '_') then finite_or_null(try_cast(s as double)) end,
        try_cast(plain_number(regexp_replace(trim(s), '\s*(%|min|mins|minutes|oz|ounces|f|°f|tons?|v|vac|a|hz|days?|mfd|[unmp]f|µf|μf|pcs?)\.?$', '', 'i')) as double)
    )
);
create or replace macro read_money(s) as (
    coalesce(
        case when not contains(s, '_') then try_cast(s as decimal(18, 4)) end,
        try_cast(plain_number(tidy_number(s)) as decimal(18, 4))
    )
);

create or replace macro read_yesno(s) as (
    case
        when lower(trim(s)) in ('yes', 'y', 'true', 't', '1', 'x', 'on') then true
        when lower(trim(s)) in ('no', 'n', 'false', 'f', '0', 'off', '-') then false
    end
);

create or replace macro plain_word(s) as (
    regexp_replace(lower(trim(s)), '[\s_]+', ' ', 'g')
);

-- years with two digits are of this century; day and month in the order settled for the column
create or replace macro slashed(s) as (
    regexp_replace(
        regexp_replace(trim(s), '^(\d{1,2})[-./](\d{1,2})[-./](\d{2})(\D|$)', '\1/\2/20\3\4'),
        '^(\d{1,2})[-./](\d{1,2})[-./](\d{4})(\D|$)', '\1/\2/\3\4'
    )
);
create or replace macro read_iso(s) as (
    case when not regexp_matches(s, '^\s*\d{1,2}[-./]') then try_cast(s as timestamp) end
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

-- the unit written behind a reading ("44.2 mfd"), null where there is none
create or replace macro unit_behind(s) as (nullif(regexp_extract(trim(s), '([A-Za-zµμ]+)\.?$', 1), ''));

-- "45/5" and "88-108": two ratings in one column
create or replace macro first_of_two(s, mark) as (read_number(trim(split_part(s, mark, 1))));
create or replace macro second_of_two(s, mark) as (read_number(trim(nullif(split_part(s, mark, 2), ''))));

-- "22", "22 oz", "1 lb 6 oz": ounces
create or replace macro read_ounces(s) as (
    coalesce(
        read_number(s),
        case when regexp_matches(s, '^\s*[0-9.]+\s*(lbs?|pounds?|#)\.?\s*([0-9.]+\s*(oz|ounces?)\.?)?\s*$', 'i') then
            16 * try_cast(regexp_extract(s, '([0-9.]+)\s*(lb|pound|#)', 1, 'i') as double)
            + coalesce(try_cast(regexp_extract(s, '([0-9.]+)\s*(oz|ounce)', 1, 'i') as double), 0)
        end
    )
);
