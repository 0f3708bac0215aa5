-- purpose: life signs kept apart by path and by the box that spoke
-- grain:   one row per account, path, origin and kind of sign
-- reads:   day
-- params:  none
-- returns: sign test, check_in, contact or signal; n, first and last
select
    account_key,
    path,
    origin,
    case
        when format = 'check_in' then 'check_in'
        when format = 'contact_input' then 'contact'
        when code in ('602', '603', '608') then 'test'
        else 'signal'
    end as sign,
    sum(n) as n,
    min(first_utc) as first_utc,
    max(last_utc) as last_utc
from day
where origin <> 'receiver'
group by
    account_key,
    path,
    origin,
    case
        when format = 'check_in' then 'check_in'
        when format = 'contact_input' then 'contact'
        when code in ('602', '603', '608') then 'test'
        else 'signal'
    end
