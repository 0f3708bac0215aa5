-- purpose: accounts whose paths the log does not tell apart
-- grain:   one row per account
-- reads:   heard_as, paths
-- params:  none
-- returns: accounts with several paths where a way in fits none or several
with
several as (
    select account_key
    from paths
    group by account_key
    having count(*) > 1
)
select distinct h.account_key
from heard_as as h
inner join several as s on h.account_key = s.account_key
where not h.told
