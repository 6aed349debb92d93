-- How microfarads are read with care: a reading or rating in any unit of capacitance, the two sections of a run
-- capacitor ("45/5"), the printed range of a start capacitor ("88-108"), with volts or a tolerance behind.
-- Each macro returns null for what it can't read. Needs value_text.sql and value_numbers.sql.

create or replace macro farad_words() as (
    '[â�?]?u ?f(?:arads?)?|[�?] ?f|u|mfds?|micro ?-?farads?|[mnp]f|(?:milli|nano|pico) ?-?farads?|f|farads?'
);
create or replace macro farad_unit(word) as (
    case when word[1] = 'n' then 'nF' when word[1] = 'p' then 'pF' when word[1] = 'f' then 'F'
        when word = 'mf' or word[:5] = 'milli' then 'mF' else '' end
);
-- what may stand behind a rating and says nothing of microfarads: volts, tolerance, line frequency, shape
create or replace macro rating_tail() as (
    '(?:[-/ ,;@]*[1-9][0-9]{2}(?: ?/ ?[1-9][0-9]{2})? ?v(?:olts?)?(?: ?ac)?'
    || '|[ ,;]*(?:\+ ?/? ?-|±) ?[0-9]+(?:[.,][0-9]+)? ?%|[ ,;]+[0-9]{1,2} ?%'
    || '|[ ,;]*[56]0(?:/60)? ?hz|[ ,;]+(?:round|oval|dual|single|run|start|cap|capacitor))'
);
-- {a, b, sign, unit}: the numbers as text, what stands between them, the unit ('' for microfarads)
create or replace macro rating_parts(s) as (
    list_transform(
        [regexp_extract(
            lower(tidy(s)),
            replace(replace(
                '^([0-9.,]*[0-9]) ?(U)?\.?(?: (?:herm|compressor|comp))?'
                || '(?: ?([-/+x&]|to|and) ?([0-9.,]*[0-9]) ?(U)?\.?(?: fan)?'
                || '(?:[-/ ]+[1-9][0-9]{2}(?:/[1-9][0-9]{2})?)?)?'
                || 'TAIL*\.?$', 'TAIL', rating_tail()), '(U)', '(' || farad_words() || ')'),
            ['a', 'ua', 'sign', 'b', 'ub']
        )],
        lambda m_: {
            -- "45 uF/5 nF": two units in one cell are not guessed at
            'a': case when m_.ua = '' or m_.ub = '' or farad_unit(m_.ua) = farad_unit(m_.ub) then m_.a end,
            'b': m_.b, 'sign': m_.sign, 'unit': farad_unit(if(m_.ub = '', m_.ua, m_.ub))
        }
    )[1]
);
-- mF is a thousand microfarads by the standard (and F a million); where that is absurd for a motor's capacitor and the
-- number itself isn't, the trade's microfarads are meant; where both are, nothing is read
create or replace macro microfarad_factor(unit, n) as (
    case unit
        when '' then 1.0::double when 'nF' then 1e-3 when 'pF' then 1e-6
        else list_transform([if(unit = 'F', 1e6, 1e3)], lambda standard_: case
            when n * standard_ <= 2000 then standard_ when n between 1 and 600 then 1.0 end)[1]
    end
);
-- "45/5" names sections, the compressor's first and larger; "88-108" a range, its upper end at most 1.4 of the lower
-- (108/88 = 1.23: 1.2 is usual); "45/440" one section and its volts. "5/45" and "45/80" could be anything, and
-- "370/440" alone is a voltage
create or replace macro rating_sense(a, b, sign) as (
    case
        when b is null then 'single'
        when a = 370 and b = 440 then null
        when b < a or (b = a and sign in ('/', '+', '&', 'x', 'and')) then 'sections'
        when b > a and b <= 1.4 * a and sign in ('-', '/', 'to') then 'range'
        when sign = '/' and b in (370, 440) then 'single'
    end
);
-- {first, second, sense, unit, factor}, microfarads
create or replace macro rating(s) as (
    list_transform([rating_parts(s)], lambda r_: list_transform(
        [{'a': try_cast(plain_number(r_.a) as double), 'b': try_cast(plain_number(r_.b) as double)}],
        lambda n_: list_transform([microfarad_factor(r_.unit, greatest(n_.a, n_.b))], lambda factor_: {
            'first': round(n_.a * factor_, 9), 'second': round(n_.b * factor_, 9), 'unit': r_.unit, 'factor': factor_,
            'sense': case when r_.b = '' or n_.b is not null then rating_sense(n_.a, n_.b, r_.sign) end
        })[1]
    )[1])[1]
);
create or replace macro read_microfarads(s) as (
    case when is_plain(s) then try_cast(s as double)
        when regexp_full_match(s, '([0-9]+(\.[0-9]+|,[0-9]{1,2})?) ?([uUµμ][fF]|mfd|MFD)')
            then try_cast(replace(rtrim(s, ' uUµμfFmMdD'), ',', '.') as double)
        else list_transform([rating(s)], lambda r_: case when r_.sense = 'single' then r_.first end)[1] end
);
