-- How a date, with or without a time of day, is read with care from the text of rows a glance didn't settle.
-- Each macro returns null for what it can't read. Needs value_text.sql and value_clock.sql.

create or replace macro weekday_word() as '(?:mon|tues?|wed(?:s|nes)?|thu(?:rs?)?|fri|satu?r?|sun)(?:day)?';
-- English and Spanish; their first three letters tell the months apart
create or replace macro month_word() as (
    '(jan(?:uary)?|febr?(?:uary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?'
    || '|nov(?:ember)?|dec(?:ember)?|ene(?:ro)?|febrero|marzo|abr(?:il)?|mayo|junio|julio|ago(?:sto)?|septiembre'
    || '|octubre|noviembre|dic(?:iembre)?)\.?'
);
-- the zone behind a time of day; the clock on the wall is what counts, so it is dropped, and offset_note says so.
-- Behind 7/1/2024 8:00-10:00 stands no zone: that may be a span of time, and isn't read
create or replace macro zone_behind() as (
    '^([0-9]{4}.*:[0-5][0-9](?:[:.][0-9.]+)?) ?([+-][01][0-9](?::?[0-5][0-9])?)$'
    || '|^(.*:[0-5][0-9](?:[:.][0-9.]+)?(?: ?[ap]\.?m\.?)?) ?'
    || '(z|(?:utc|gmt)(?:[+-][0-9]{1,2}(?::?[0-9]{2})?)?|[ecmp][sd]?t| [+-][01][0-9][0-5][0-9])$'
);
create or replace macro offset_note(s) as (
    case when not regexp_full_match(s, '[-0-9/. T]+(:[0-9]{2})*') then list_transform(
        [regexp_extract(lower(tidy(s)), zone_behind(), ['before', 'iso', 'before_other', 'other'])],
        lambda m_: 'offset_dropped: ' || upper(trim(nullif(m_.iso || m_.other, '')))
            || '; the time is kept as the clock showed it'
    )[1] end
);
-- tidy text without weekday and zone
create or replace macro bare_moment(s) as (
    case when regexp_full_match(s, '[-0-9/.]+( [0-9:.]+( ?[aApP][mM]?)?)?') then lower(s)
        else regexp_replace(regexp_replace(regexp_replace(
            lower(tidy(s)), '^' || weekday_word() || '(?:[.,]+\s*|\s+)', ''),
            zone_behind(), '\1\3'), '\s*\(?' || weekday_word() || '\.?\)?$', '') end
);
-- any date as "=year-month-day" with the rest behind; ``turned`` does so for a slashed one, in its column's order
create or replace macro turn_numbers(t, turned) as (
    regexp_replace(regexp_replace(regexp_replace(regexp_replace(t,
        '^([0-9]{1,2}) ?[-./] ?([0-9]{1,2}) ?[-./] ?([0-9]{4}|[0-9]{2})(|[^0-9].*)$', turned),
        '^([0-9]{4})[-./]([0-9]{1,2})[-./]([0-9]{1,2})(|[^0-9].*)$', '=\1-\2-\3\4'),
        '^([0-9]{8})[t ]?([0-9]{2})([0-9]{2})([0-9]{2})$', '\1 \2:\3:\4'),
        '^([0-9]{4})([0-9]{2})([0-9]{2})(|[^0-9].*)$', '=\1-\2-\3\4')
);
create or replace macro turn_words(t) as (
    regexp_replace(regexp_replace(regexp_replace(t,
        '^([0-9]{1,2})(?:st|nd|rd|th)?\.?(?: of| de)?[ /-]*' || month_word()
        || '(?: de)?[ ,''/-]*([0-9]{4}|[0-9]{2})(|[^0-9].*)$', '=\3-\2-\1\4'),
        '^' || month_word() || '[ -]*([0-9]{1,2})(?:st|nd|rd|th)?[ ,''-]+([0-9]{4}|[0-9]{2})(|[^0-9].*)$',
        '=\3-\1-\2\4'),
        '^([0-9]{4})[ .,-]*' || month_word() || '[ .,-]*([0-9]{1,2})(|[^0-9].*)$', '=\1-\2-\3\4')
);
-- {y, m, d, t}: year, month (its number or word), day, and the text of the time; all '' where it isn't a date
create or replace macro moment_parts(s, turned) as (
    regexp_extract(
        turn_words(turn_numbers(bare_moment(s), turned)),
        '^=([0-9]{4}|[0-9]{2})-([0-9]{1,2}|[a-z]+)-([0-9]{1,2})(?:(?:t|[ ,;@-]+(?:at |@ )?)([0-9nm].*))?$',
        ['y', 'm', 'd', 't'])
);
-- a year of two digits is of this century
create or replace macro moment_of(p) as (
    try_cast(
        if(length(p.y) = 2, '20', '') || p.y || '-'
        || if(p.m > '9', (
            (greatest(strpos('janfebmaraprmayjunjulaugsepoctnovdec', p.m[:3]),
                strpos('enefebmarabrmayjunjulagosepoctnovdic', p.m[:3])) + 2) // 3)::varchar, p.m)
        || '-' || p.d as date
    ) + to_seconds(if(p.t = '', 0, clock_text(p.t)))
);
create or replace macro read_moment(s, turned) as (
    list_transform([moment_parts(s, turned)], lambda p_: moment_of(p_))[1]
);
