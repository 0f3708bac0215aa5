-- purpose: every account that the roster knows or the log has heard
-- grain:   one row per account
-- reads:   all_accounts, kept_heard, kept_ranks_as
-- params:  none
-- returns: roster entries, whether heard in the window, first and last signal
select
    coalesce(a.account_key, h.account_key) as account_key,
    coalesce(a.account, split_part(h.account_key, '/', 2)) as account,
    coalesce(a.receiver_group, split_part(h.account_key, '/', 1))
        as receiver_group,
    coalesce(a.site, '') as site,
    coalesce(a.customer, '') as customer,
    coalesce(a.dealer, '') as dealer,
    coalesce(a.installer, '') as installer,
    coalesce(a.area, '') as area,
    coalesce(a.address, '') as address,
    coalesce(a.system_type, '') as system_type,
    coalesce(r.ranks_as, '') as ranks_as,
    coalesce(a.status, 'not on roster') as status,
    coalesce(a.monitored, false) as monitored,
    coalesce(h.n_window, 0) > 0 as heard,
    h.first_utc as first_heard_utc,
    h.last_utc as last_heard_utc,
    cast(coalesce(h.n_window, 0) as bigint) as signals
from all_accounts as a
left join kept_ranks_as as r on a.account_key = r.account_key
full outer join kept_heard as h on a.account_key = h.account_key
order by 1
