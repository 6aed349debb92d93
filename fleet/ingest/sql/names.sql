-- What a name comes to when case, spaces, punctuation and leading zeros don't count (spelling.py says the rule).
-- What stands between two numbers counts: "1-12" isn't "11-2".
create or replace macro plain_name(s) as (
    regexp_replace(
        regexp_replace(
            regexp_replace(
                regexp_replace(regexp_replace(lower(strip_accents(s)), '[^\pL\pN]+', ' ', 'g'), '^ | $', '', 'g'),
                '(^|[^0-9])0+([0-9])', '\1\2', 'g'),
            '([^0-9 ]) +', '\1', 'g'),
        ' +([^0-9 ])', '\1', 'g')
);
