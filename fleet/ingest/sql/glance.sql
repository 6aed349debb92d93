-- How a typed value is read from text at a glance: one plain cast, null where that isn't enough.
-- What a glance can't read is read with care (value_*.sql).
create or replace macro blank_to_null(s) as nullif(trim(s), '');
create or replace macro glance_number(s) as try_cast(s as double);
create or replace macro glance_money(s) as try_cast(s as decimal(18, 4));
-- no lists here: a list of many words becomes a join, which costs more than it saves
create or replace macro glance_yesno(s) as (
    case s when 'yes' then true when 'no' then false when 'Yes' then true when 'No' then false
        when 'Y' then true when 'N' then false when 'y' then true when 'n' then false
        when '1' then true when '0' then false when 'true' then true when 'false' then false end
);
create or replace macro glance_iso(s) as try_cast(s as timestamp);
create or replace macro glance_mdy(s) as try_strptime(s, ['%m/%d/%Y %H:%M', '%m/%d/%Y', '%m/%d/%Y %I:%M %p']);
create or replace macro glance_dmy(s) as try_strptime(s, ['%d/%m/%Y %H:%M', '%d/%m/%Y', '%d/%m/%Y %I:%M %p']);

-- does the text carry a time of day?
create or replace macro glance_has_time(s) as contains(s, ':');

-- a time of day without a date belongs to the day of the report, or the next where it would lie before it
create or replace macro on_day_of(reported, has_time, clock) as (
    date_trunc('day', reported) + clock
    + case when has_time and date_trunc('day', reported) + clock < reported then interval 1 day else interval 0 day end
);
