-- Quantities that may be written in two units at once, or as a range: minutes, ounces, metres, days, months.
-- Conversions: NIST SP 811, appendix B (1 lb = 453.592 37 g = 16 oz, 1 ft = 12 in = 0.3048 m). Each macro returns null
-- for what it can't read. Needs value_units.sql.

-- the numbers before two units: {big: '1', small: '6'} of "1 lb 6 oz"; a bare number is of the small unit
create or replace macro two_units(s, big, small) as (
    regexp_extract(
        lower(tidy(halves(s))),
        '^(?:([0-9.,]*[0-9]) ?(?:' || big || ')\.?)?[ ,]*(?:and )?(?:([0-9.,]*[0-9]) ?(?:' || small || ')?\.?)?$',
        ['big', 'small']
    )
);
create or replace macro join_units(found, ratio) as (
    case when found.big <> '' or found.small <> '' then
        ratio * if(found.big = '', 0, try_cast(plain_number(found.big) as double))
        + if(found.small = '', 0, try_cast(plain_number(found.small) as double)) end
);

-- "90", "90 min", "1.5 h", "1 hr 15 min", "1h15", "1:30", "01:30:00"
create or replace macro read_minutes(s) as (
    case
        when is_plain(s) then try_cast(s as double)
        when regexp_full_match(s, '[0-9]+(\.[0-9]+)? ?m(in|ins|inute|inutes)?', 'i')
            then try_cast(regexp_extract(s, '^[0-9.]+') as double)
        when contains(s, ':') then list_transform(
            [regexp_extract(
                lower(tidy(s)), '^([0-9]{1,3}):([0-5][0-9])(?::([0-5][0-9]))?(?: ?(?:h|hrs?|hours?))?$', ['h', 'm', 's']
            )],
            lambda m_: try_cast(m_.h as int) * 60 + try_cast(m_.m as int) + coalesce(try_cast(m_.s as int), 0) / 60
        )[1]
        else list_transform([two_units(s, 'h|hrs?|hours?', 'm|mins?|minutes?')], lambda m_: join_units(m_, 60))[1]
    end
);
-- "22", "22 oz", "1 lb 6 oz", "1# 6oz", "1.4 lbs", "1 1/2 lb", "623 g", "0.6 kg"
create or replace macro read_ounces(s) as (
    case when not is_plain(s) and regexp_full_match(s, '\D*[0-9.,]+\s*(#|lb|pound).*[0-9].*', 'i')
        then list_transform([two_units(s, 'lbs?|pounds?|#', 'ozs?|ounces?')], lambda m_: join_units(m_, 16))[1]
        else in_units_of(s, halves(s), 'ozs?|ounces?', lambda b_: case
            when regexp_full_match(b_.u, 'lbs?|pounds?|#') then b_.n * 16
            when regexp_full_match(b_.u, 'g|gms?|gr|grams?') then b_.n / 28.349523125
            when regexp_full_match(b_.u, 'kgs?|kilo(gram)?s?') then b_.n / 0.028349523125 end) end
);
-- "12", "12 m", "40 ft", "12' 6"" (feet and inches)
create or replace macro read_metres(s) as (
    case when regexp_matches(s, '[0-9].*[0-9] ?(in|inch|inches|"|″)?\s*$', 'i') and regexp_matches(s, '[''′f]', 'i')
        then list_transform(
            [two_units(s, 'ft|feet|foot|''', 'in|inch|inches|"')], lambda m_: join_units(m_, 12) * 0.0254)[1]
        else in_units_of(s, halves(s), 'm|met(er|re)s?', lambda b_: case
            when regexp_full_match(b_.u, 'ft|feet|foot|''') then b_.n * 0.3048
            when regexp_full_match(b_.u, 'in|inch(es)?|"|''''') then b_.n * 0.0254
            when regexp_full_match(b_.u, 'yds?|yards?') then b_.n * 0.9144
            when b_.u = 'km' then b_.n * 1e3 when b_.u = 'cm' then b_.n / 1e2 when b_.u = 'mm' then b_.n / 1e3 end) end
);

-- a range is planned for by its worse end: a lead time's upper, a shelf life's lower
create or replace macro upper_end(s) as regexp_replace(tidy(s), '^[0-9.,]*[0-9] ?(?:-|to) ?([0-9])', '\1');
create or replace macro lower_end(s) as regexp_replace(tidy(s), '^([0-9.,]*[0-9]) ?(?:-|to) ?[0-9.,]*[0-9]', '\1');
-- calendar days: a month counts 30, a year 365, five business days a week
create or replace macro read_days(s) as (
    case when regexp_full_match(s, '\s*(same|next)[- ]day\s*', 'i') then if(lower(trim(s))[1] = 's', 0, 1)
        else in_units_of(s, upper_end(halves(s)), 'd|days?|calendar days?', lambda b_: case
            when regexp_full_match(b_.u, '(business|bus|working|work) ?days?|bd') then b_.n * 7 / 5
            when regexp_full_match(b_.u, 'w|wks?|weeks?') then b_.n * 7
            when regexp_full_match(b_.u, 'mo|mos|mths?|months?') then b_.n * 30
            when regexp_full_match(b_.u, 'y|yrs?|years?') then b_.n * 365
            when regexp_full_match(b_.u, 'h|hrs?|hours?') then b_.n / 24 end) end
);
create or replace macro read_months(s) as in_units_of(s, lower_end(halves(s)), 'm|mo|mos|mths?|months?', lambda b_:
    case when regexp_full_match(b_.u, 'y|yrs?|years?') then b_.n * 12
    when regexp_full_match(b_.u, 'w|wks?|weeks?') then b_.n * 7 / 30
    when regexp_full_match(b_.u, 'd|days?') then b_.n / 30 end);
