-- What a column of ratings takes from a cell that may hold two numbers, and what is said of a unit that was converted.
-- Needs value_microfarads.sql.

create or replace macro rating_part(s, part, meant) as (
    list_transform([rating(s)], lambda r_: case
        when r_.sense in meant then if(part = 'first', r_.first, r_.second)
    end)[1]
);
-- what most ratings look like, and needs no care
create or replace macro plain_sections(s) as (
    regexp_full_match(s, '[0-9]{1,3}(\.[0-9]+)?/[1-9][0-9]?(\.[0-9]+)?')
    and try_cast(split_part(s, '/', 1) as double) >= try_cast(split_part(s, '/', 2) as double)
);
-- a run capacitor: "45" and "45/5" are its compressor's section; only "45/5" has a fan's, "45/0" none. No range is
-- read
create or replace macro herm_microfarads(s) as (
    case when is_plain(s) then try_cast(s as double)
        when plain_sections(s) then try_cast(split_part(s, '/', 1) as double)
        else rating_part(s, 'first', ['single', 'sections']) end
);
create or replace macro fan_microfarads(s) as (
    case when plain_sections(s) then try_cast(split_part(s, '/', 2) as double)
        else nullif(rating_part(s, 'second', ['sections']), 0) end
);
-- a start capacitor: "88" and "88-108" have a lower end; only "88-108" an upper one. Two sections are refused
create or replace macro low_microfarads(s) as (
    case when is_plain(s) then try_cast(s as double) else rating_part(s, 'first', ['single', 'range']) end
);
create or replace macro high_microfarads(s) as rating_part(s, 'second', ['range']);
-- either, where the column doesn't say which
create or replace macro first_microfarads(s) as rating_part(s, 'first', ['sections', 'range']);
create or replace macro second_microfarads(s) as rating_part(s, 'second', ['sections', 'range']);

-- "millifarad_slip: 44.2 mF read as microfarads", "unit_converted: 44200 nF read as 44.2 uF"; null where the cell
-- says microfarads, no unit, or nothing that can be read
create or replace macro microfarad_note(s) as (
    case when regexp_full_match(s, '[-0-9.,/ ]*([uU][fF]|µF|mfd|MFD)?') then null
        else list_transform([rating(s)], lambda r_: case
        when r_.unit = '' or r_.sense is null or r_.first is null then null
        when r_.factor = 1
            then if(r_.unit = 'F', 'farad_slip: ', 'millifarad_slip: ') || trim(s) || ' read as microfarads'
        else 'unit_converted: ' || trim(s) || ' read as ' || format('{:g}', r_.first)
            || case when r_.sense = 'sections' then format('/{:g}', r_.second)
                when r_.sense = 'range' then format('-{:g}', r_.second) else '' end || ' uF'
    end)[1] end
);
