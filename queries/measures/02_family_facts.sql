-- purpose: whether anybody restores a family of events in this log
-- grain:   one row per family
-- reads:   fact_edge
-- params:  none
-- returns: accounts that began and accounts that restored it
select
    family,
    count(distinct case when qualifier <> 'R' then account_key end)
        as n_accounts,
    count(distinct case when qualifier = 'R' then account_key end)
        as n_accounts_restoring
from fact_edge
group by family
