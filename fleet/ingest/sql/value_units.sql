-- How a quantity is read with care in its column's unit, whatever unit was written behind it.
-- Conversions: NIST SP 811, appendix B (1 ft = 0.3048 m, 1 lb = 453.592 37 g, 1 ton of refrigeration = 12 000 Btu/h
-- = 3516.853 W). Each macro returns null for what it can't read, a unit of another kind among it.
-- Needs value_text.sql and value_numbers.sql.

-- a number that says no unit gets the header's; a value that says its own keeps it
create or replace macro with_unit(s, unit) as (
    case when unit is not null and regexp_matches(s, '[0-9]')
        and not regexp_matches(s, '[A-DF-Za-df-zµμ°º%"#:$€£′″]|''\s*$') then s || ' ' || unit else s end
);
-- "2 1/2 tons", "2-1/2", "2½", "1/2 h": the fraction in front in point form
create or replace macro halves(s) as (
    regexp_replace(regexp_replace(regexp_replace(
        trim(replace(replace(replace(s, '½', ' 1/2'), '¼', ' 1/4'), '¾', ' 3/4')),
        '^(?:([0-9]+)[ -]+)?1/2(|[^0-9/].*)$', '\1.5\2'),
        '^(?:([0-9]+)[ -]+)?1/4(|[^0-9/].*)$', '\1.25\2'),
        '^(?:([0-9]+)[ -]+)?3/4(|[^0-9/].*)$', '\1.75\2')
);

create or replace macro read_volts(s) as in_units(s, '(v|vac|v ?~|volts?)(\s?ac)?', lambda b_: case
    when regexp_full_match(b_.u, 'kv(ac)?') then b_.n * 1e3
    when regexp_full_match(b_.u, 'mv(ac)?') then b_.n / 1e3 end);
-- a label's "370/440 VAC" is rated for the higher of the two
create or replace macro read_rated_volts(s) as (
    read_volts(regexp_replace(s, '^\s*370\s*V?\s*[-/]\s*(440\s*\D*)$', '\1', 'i'))
);
create or replace macro read_amps(s) as in_units(s, 'a|aac|amps?|amperes?', lambda b_: case
    when regexp_full_match(b_.u, 'ma|milli ?amps?|milliamperes?') then b_.n / 1e3 end);
create or replace macro read_hertz(s) as in_units(s, 'hz|hertz|cycles?|cps', lambda b_: null::double);
-- "6", "6 %", "±6%", "+/- 6 pct", "-5/+5%"; what differs up and down is refused
create or replace macro read_percent(s) as (
    case when is_plain(s) then try_cast(s as double) else list_transform(
        [regexp_extract(
            lower(tidy(s)),
            '^(?:\+ ?/? ?-|±|-/\+)? ?([0-9.,]+) ?(?:%|pct|percent)?$|^[-+] ?([0-9.,]+) ?%? ?/ ?[-+] ?([0-9.,]+) ?%?$',
            ['n', 'one', 'other']
        )],
        lambda m_: try_cast(plain_number(if(m_.one = m_.other, m_.n || m_.one, '')) as double)
    )[1] end
);

create or replace macro fahrenheit_words() as '(°|deg(rees?)?\.?) ?(f|fahrenheit)?|f|fahrenheit';
create or replace macro celsius_words() as '(°|deg(rees?)?\.?) ?(c|celsius|centigrade)?|c|celsius|centigrade';
create or replace macro read_fahrenheit(s) as in_units(s, fahrenheit_words(), lambda b_: case
    when regexp_full_match(b_.u, celsius_words()) then round(b_.n * 1.8 + 32, 9) end);
create or replace macro read_celsius(s) as in_units(s, celsius_words(), lambda b_: case
    when regexp_full_match(b_.u, fahrenheit_words()) then round((b_.n - 32) / 1.8, 9) end);

-- M stands for a thousand in "MBH" (Btu, thousands, an hour)
create or replace macro read_tons(s) as in_units_of(s, halves(s), 't|tr|rt|tons?|tons? of refrigeration', lambda b_:
    case when regexp_full_match(b_.u, 'btus?( ?/ ?hr?|h| ?per hour)?') then b_.n / 12000
    when regexp_full_match(b_.u, 'mbh|k ?btus?( ?/ ?hr?|h)?') then b_.n / 12
    when b_.u = 'kw' then b_.n / 3.516853 when b_.u = 'w' then b_.n / 3516.853 end);
