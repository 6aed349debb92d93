-- How money is read with care: four places, a credit negative, no charge a zero.
-- Each macro returns null for what it can't read. Needs value_text.sql and value_numbers.sql.

-- what stands for no charge; "$ -" is a spreadsheet's way to write nothing owed
create or replace macro no_charge(word) as (
    regexp_full_match(
        word, 'free|n/?c|no ?(charge|cost)|comp(ed|limentary)?\.?|gratis|waived|nil|zero|[$€£] ?-+|-+ ?[$€£]'
    )
);
create or replace macro money_sign() as (
    '((us|ca?|au?|nz|mx)?\$|€|£|¥|₹|usd|cad|mxn|eur|gbp|aud|nzd|chf|jpy|inr|sek|nok|dkk|pln|czk|brl|dollars?|euros?)?'
);
-- "$1,234.50", "45,00 €", "(12.00)", "12.00-", "-$5", "12.50 CR", "$4 ea": one sign, before or behind
create or replace macro read_money(s) as (
    case when is_plain(s) or regexp_full_match(s, '[+-]?[0-9.]+[eE][+-]?[0-9]{1,3}') then try_cast(s as decimal(18, 4))
        when regexp_full_match(s, '\$([0-9]+|[1-9][0-9]{0,2}(,[0-9]{3})+)(\.[0-9]+)?')
            then try_cast(translate(s, '$,', '') as decimal(18, 4))
        when no_charge(lower(tidy(s))) then 0
        else list_transform(
            [regexp_extract(
                lower(tidy(s)), '^([^0-9.,]*)([0-9.,](?:[0-9., '']*[0-9.])?)([^0-9]*)$', ['pre', 'body', 'post']
            )],
            lambda m_: list_transform([replace(m_.pre || '#' || m_.post, ' ', '')], lambda signs_: case
                when regexp_full_match(signs_, replace('\+?C\+?#C(/?(ea|each|pc)|dr)?\.?', 'C', money_sign()))
                    then try_cast(plain_number(m_.body) as decimal(18, 4))
                when regexp_full_match(
                    signs_,
                    replace('-C#C|C-#C|\(C#C\)|C\(#\)|C#C-|C#-C|C#C(cr|credit)\.?', 'C', money_sign())
                ) then -try_cast(plain_number(m_.body) as decimal(18, 4))
            end)[1]
        )[1] end
);
