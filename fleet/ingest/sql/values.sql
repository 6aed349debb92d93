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
create or replace macro without_unit(s) as (
    regexp_replace(trim(s),
        '\s*(%|min|mins|minutes|oz|ounces|f|°f|tons?|v|vac|a|hz|days?|mfd|[unmp]f|µf|μf|pcs?)\.?$', '', 'i')
);
create or replace macro read_number(s) as (
    coalesce(
        finite_or_null(try_cast(s as double)),
        try_cast(plain_number(without_unit(s)) as double)
    )
);
create or replace macro read_money(s) as (
    coalesce(
        try_cast(s as decimal(18, 4)),
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
