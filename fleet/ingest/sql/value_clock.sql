-- How a time of day is read with care: "14:35", "2:35 PM", "235p", "0815", "8.15", "14h05", noon, a spreadsheet's
-- fraction of a day. Each macro returns null for what it can't read. Needs value_text.sql.

-- seconds of the clock's parts, null where no clock shows them: 24:00 ends a day, 12:30 am begins one, 14:05 PM says
-- one thing twice, 14:05 AM nothing
create or replace macro clock_seconds(hour, minute, second, half) as (
    case
        when half = '' and (hour < 24 or hour = 24 and minute = 0 and second = 0)
            then hour * 3600 + minute * 60 + second
        when half in ('a', 'p') and hour between 1 and 12
            then hour % 12 * 3600 + minute * 60 + second + if(half = 'p', 43200, 0)
        when half = 'p' and hour between 13 and 23 or half = 'a' and hour = 0 then hour * 3600 + minute * 60 + second
    end
);
-- a clock's text, tidy and in lower case, as seconds after midnight; a bare hour ("8") may be anything
create or replace macro clock_text(t) as (
    case
        when contains(t, 'n') or contains(t, 'd') then case
            when regexp_full_match(t, '(12(:00)? ?)?(noon|midday)') then 43200
            when regexp_full_match(t, '(12(:00)? ?|0?0:00 ?)?midnight') then 0 end
        else list_transform(
            [regexp_extract(
                t,
                '^([0-9]{1,2})(?:[:.h]?([0-5][0-9]))?(?:[:.]([0-5][0-9](?:[.,][0-9]+)?))? ?(h|hrs?|hours?)?\.?'
                || '(?: ?([ap])\.?(?: ?m\.?)?)?$', ['hour', 'minute', 'second', 'hours', 'half']
            )],
            lambda m_: case when m_.minute || m_.hours || m_.half <> '' then clock_seconds(
                try_cast(m_.hour as int), coalesce(try_cast(m_.minute as int), 0),
                coalesce(try_cast(replace(m_.second, ',', '.') as double), 0), m_.half
            ) end
        )[1]
    end
);
-- the same, or a spreadsheet's fraction of a day: standing alone, "0.25" is six o'clock and "00.25" a clock's
create or replace macro seconds_of_day(t) as (
    case when regexp_full_match(t, '0?[.,][0-9]+') then round(try_cast(replace(t, ',', '.') as double) * 86400)
        else clock_text(t) end
);
-- the time since midnight in a text that holds a time of day and no date
create or replace macro read_clock(s) as to_seconds(seconds_of_day(lower(tidy(s))));
create or replace macro clock_only(s) as (
    case when length(s) > 20 then false else seconds_of_day(lower(tidy(s))) is not null end
);
