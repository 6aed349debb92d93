-- How a cell's text is tidied, what says nothing, and yes or no in its many spellings: read with care, for rows a
-- glance (glance.sql) didn't settle. Each macro returns null for what it can't read.
-- Macros are written out wherever they are named: an argument named ten times would be worked out ten times. A lambda
-- over a list of one value binds that value; but what stands in a lambda is set up anew for every 2,048 rows, so long
-- patterns stay outside. Names of lambdas end in _, so that no column's name is taken for one.

-- text as one keyboard types it: no-break and thin spaces, full-width digits, every dash, quote and micro sign; what
-- leaves no mark on paper goes. 'Â' or '�' before a unit is a micro sign that lost its encoding
create or replace macro marks_typed() as (
    '０１２３４５６７８９，．％／：（）＄＋−－–—‒‐‑’‘ʼ′″”“⁄∕µμº˚×'
    || chr(160) || chr(8194) || chr(8195) || chr(8196) || chr(8197) || chr(8198) || chr(8199) || chr(8200)
    || chr(8201) || chr(8202) || chr(8239) || chr(8287) || chr(12288)
    || chr(8203) || chr(8206) || chr(8207) || chr(8288) || chr(65039) || chr(65279)
);
create or replace macro marks_meant() as '0123456789,.%/:()$+-------''''''''"""//uu°°x             ';
-- where they lie among all characters, for most texts hold none of them and the exchange is slow
create or replace macro odd_marks() as (
    '[\t\r\n\x{A0}\x{B5}\x{BA}\x{D7}\x{2BC}\x{2DA}\x{3BC}\x{2000}-\x{206F}\x{2212}\x{2215}\x{3000}\x{FE0F}\x{FEFF}'
    || '\x{FF00}-\x{FFEF}]'
);
-- "'12" and ="12" are a spreadsheet's way to keep a cell as text
create or replace macro unguarded(s) as regexp_replace(trim(s), '^(?:''|="(.*)"$)', '\1');
create or replace macro tidy(s) as (
    case when regexp_matches(s, odd_marks())
        then trim(translate(unguarded(s), marks_typed(), marks_meant()), E' \t\r\n')
        else unguarded(s) end
);
create or replace macro plain_word(s) as (
    regexp_replace(lower(trim(s)), '[\s_]+', ' ', 'g')
);

-- does a cell of numbers, money, dates, or yes and no say nothing? Asked only after its reader returned null, since a
-- dash may be a no and "none" a zero. A spreadsheet's other errors (#VALUE!) are refused: something was lost there
create or replace macro nothing_said(s) as (
    coalesce(regexp_full_match(
        lower(tidy(s)),
        '|[-.?]+|n\.?/?a\.?|#n/a( n/a)?|\(?(null|blank|empty)\)?|none|nil|nan|<na>|nat|\\n|tb[acd]|unk\.?|unknown'
        || '|(not|never) (known|recorded|measured|taken|given|noted|available|applicable)'
    ), true)
);
-- a tag or a text may well be "-" or "none"; only what a program writes for no text at all says nothing
create or replace macro no_text(s) as (
    coalesce(regexp_full_match(lower(tidy(s)), '|#n/a( n/a)?|\((null|blank)\)|<na>|\\n'), true)
);

-- some databases write -1 for yes, a spreadsheet 1.0; "-" in a column of marks means that there is no mark
create or replace macro read_yesno(s) as (
    list_transform([rtrim(lower(tidy(s)), '.! ')], lambda word_: case
        when regexp_full_match(word_, 'y|yes|yea|yeah|yep|yup|ja|oui|t|true|-?1([.,]0+)?|x+|\[x\]|✓|✔|√|☑|✅|on|s[ií]|checked')
            then true
        when regexp_full_match(word_, 'n|no|nope|nah|nein|non|none|never|f|false|0([.,]0+)?|-+|\[ ?\]|☐|off|unchecked')
            then false
    end)[1]
);

-- the unit written behind a reading ("44.2 mfd"), as it stands there; null where there is none
create or replace macro unit_behind(s) as (
    nullif(regexp_extract(trim(s), '[0-9.,]\s*([A-Za-zµμÂ�?][A-Za-zµμ -]*)\.?$', 1), '')
);
-- one spelling for each unit of capacitance; any other word stays as it is
create or replace macro plain_unit(u) as (
    case when regexp_full_match(u, '[uU][fF]|mfd|MFD|µF') then 'uF'
        else list_transform([lower(tidy(u))], lambda word_: case
        when regexp_full_match(word_, '[â�?]?u ?f(arads?)?\.?|[�?] ?f|u|mfds?\.?|micro ?-?farads?') then 'uF'
        when regexp_full_match(word_, 'nf\.?|nano ?-?farads?') then 'nF'
        when regexp_full_match(word_, 'pf\.?|pico ?-?farads?') then 'pF'
        when regexp_full_match(word_, 'mf\.?|milli ?-?farads?') then 'mF'
        when regexp_full_match(word_, 'f\.?|farads?') then 'F'
        else u
    end)[1] end
);
