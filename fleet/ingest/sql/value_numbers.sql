-- How numbers and pieces are read with care, whatever signs and separators they were written with.
-- Each macro returns null for what it can't read. Needs value_text.sql.

-- one number's digits in point form. Its own shape decides: "1,234" and "1.234,5" carry a thousands mark, "44,2" and
-- "0,500" a decimal comma, "1.234" a point; a column of decimal commas goes through from_comma (value_decimals.sql)
create or replace macro plain_number(t) as (
    case
        when regexp_full_match(t, '[0-9]+\.?[0-9]*|\.[0-9]+') then t
        when regexp_full_match(t, '[1-9][0-9]{0,2}((,[0-9]{3})+|( [0-9]{3})+|(''[0-9]{3})+)(\.[0-9]+)?')
            then translate(t, ', ''', '')
        when regexp_full_match(
            t,
            '[0-9]*,[0-9]+|[1-9][0-9]{0,2}(((\.[0-9]{3})+|( [0-9]{3})+|(''[0-9]{3})+),[0-9]+|(\.[0-9]{3}){2,})'
        ) then replace(translate(t, '. ''', ''), ',', '.')
    end
);
create or replace macro finite_or_null(d) as list_transform([d], lambda v_: case when isfinite(v_) then v_ end)[1];
-- what needs no care; "1_000" is no number, though a cast takes it for one
create or replace macro is_plain(s) as regexp_full_match(s, '\s*[+-]?([0-9]{1,30}(\.[0-9]{0,30})?|\.[0-9]{1,30})\s*');

-- a number and the unit behind it, if any, lower case: {n: 44.2, u: 'mfd'}. "1E+05" and "1e5" are a program's numbers;
-- "~45", "<5" and "45?" are none, for who wrote them wasn't sure
create or replace macro amount(s) as (
    list_transform(
        [regexp_extract(
            lower(tidy(s)),
            '^([+-]?) ?([0-9.,](?:[0-9., '']*[0-9.])?)(e[+-]?[0-9]{1,3})?(-?)\s*([^-0-9.,+''\s?].*|''.*)?$',
            ['before', 'body', 'power', 'behind', 'unit']
        )],
        lambda m_: {
            'n': case when m_.before = '' or m_.behind = '' then finite_or_null(try_cast(
                replace(m_.before || m_.behind, '+', '') || plain_number(m_.body) || m_.power as double
            )) end,
            'u': rtrim(m_.unit, '. ')
        }
    )[1]
);
-- a plain number, one with the column's ``own`` words for its unit, or what ``convert`` makes of {n, u} otherwise
create or replace macro in_units(s, own, convert) as (
    case when is_plain(s) then try_cast(s as double)
        when regexp_full_match(s, '[0-9]+(\.[0-9]+)? ?(' || own || ')', 'i')
            then try_cast(regexp_extract(s, '^[0-9.]+') as double)
        else list_transform([amount(s)], lambda a_: case
            when regexp_full_match(a_.u, own || '|') then a_.n else list_transform([a_], convert)[1] end)[1] end
);
-- the same of a text that had to be put right first; a plain number needn't be
create or replace macro in_units_of(s, righted, own, convert) as (
    case when is_plain(s) then try_cast(s as double) else in_units(righted, own, convert) end
);
create or replace macro read_number(s) as in_units(
    s, '%|mins?|minutes?|oz|ounces?|°? ?f|tons?|v|volts?|vac|a|amps?|hz|days?|mfd|[unmp]f|pcs?|pieces?|ea|each',
    lambda b_: null::double
);
-- pieces on a shelf or in a pack; "none" of them is zero
create or replace macro read_pieces(s) as (
    case when is_plain(s) then try_cast(s as double)
        when regexp_full_match(lower(tidy(s)), 'none|nil|zero|out|out of stock') then 0
        else in_units(
            regexp_replace(tidy(s), '^[xX] ?([0-9])', '\1'),
            'x|pcs?|pieces?|ea|each|units?|/ ?(pk|pack|bx|box|cs|case)|per (pack|box|case)', lambda b_: null::double
        ) end
);
