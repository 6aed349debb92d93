-- Whether a column's numbers carry a decimal comma, and how such a column is put into point form.
-- Each macro returns null for what it can't read. Needs value_text.sql.

-- what one cell says of its decimal mark: 'comma' ("44,2", "1.234,5", "0,500"), 'point' ("44.2", "1,234.5",
-- "1,234,567"), 'undecided' where it could be either ("1,234", "1.234", or a cell that holds both), null where it says
-- nothing ("44")
create or replace macro says_decimal(s, mark, other) as (
    regexp_matches(s, replace(replace(
        '(^|[^0-9.,])([0-9]*M([0-9]{1,2}|[0-9]{4,})|(0[0-9]*|[0-9]{4,})?M[0-9]+|[0-9]{1,3}(O[0-9]{3}){2,}'
        || '|[0-9]{1,3}((O[0-9]{3})+|([ ''\x{A0}\x{2009}\x{202F}][0-9]{3})+)M[0-9]+)([^0-9.,]|$)',
        'M', mark), 'O', other))
);
create or replace macro decimal_shape(s) as (
    case
        when not contains(s, ',') and not contains(s, '.') then null
        when says_decimal(s, ',', '\.') then if(says_decimal(s, '\.', ','), 'undecided', 'comma')
        when says_decimal(s, '\.', ',') then 'point'
        when regexp_matches(s, '[0-9][.,][0-9]') then 'undecided'
    end
);
create or replace macro decimal_evidence(s) as nullif(decimal_shape(s), 'undecided');

-- a text whose numbers carry decimal commas, in point form: "1.234,5" -> "1234.5", "37,5/7,5 uF" -> "37.5/7.5 uF",
-- "1.234" -> "1234". Null where a number isn't written so ("44.2", "1,234.5"): it must not become 442
create or replace macro from_comma(s) as (
    case
        when not contains(s, ',') and not contains(s, '.') then tidy(s)
        when regexp_full_match(s, '-?[0-9]+,[0-9]+') then replace(s, ',', '.')
        when regexp_matches(
            tidy(s),
            '(^|[^0-9.])0[0-9]*\.[0-9]|(^|[^0-9])\.[0-9]|[0-9]{4}\.[0-9]|\.[0-9]{1,2}([^0-9]|$)|\.[0-9]{4}'
            || '|,[0-9]+[.,][0-9]'
        ) then null
        else regexp_replace(regexp_replace(tidy(s), '\.([0-9]{3})', '\1', 'g'), ',([0-9])', '.\1', 'g')
    end
);
