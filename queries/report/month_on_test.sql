-- purpose: accounts that are on test at the end of a month
-- grain:   one row per account
-- reads:   all_on_test
-- params:  $as_of timestamp [UTC]
-- returns: since when
select account_key, min(from_utc) as from_utc
from all_on_test
where from_utc < $as_of and (until_utc is null or until_utc > $as_of)
group by account_key
order by account_key
