-- purpose: what accounts share: area, exchange, network, receiver line and kin
-- grain:   one row per grouping, name, account and path ('' = the account)
-- reads:   accounts, paths, heard_as
-- params:  none
-- returns: the groups that a disturbance away from the sites may strike
with
numbered as (
    select
        *,
        length(account) as n_digits
    from accounts
    where monitored
),
named as (
    select 'area' as grouping_kind, area as name, account_key, '' as path
    from numbered
    union all
    select 'exchange' as grouping_kind, exchange as name, account_key,
        '' as path
    from numbered
    union all
    select 'dealer' as grouping_kind, dealer as name, account_key, '' as path
    from numbered
    union all
    select
        'account prefix' as grouping_kind,
        receiver_group || '/' || substring(account, 1, n_digits - 2) as name,
        account_key,
        '' as path
    from numbered
    where n_digits > 2
    union all
    select
        'network' as grouping_kind,
        p.kind || ' ' || p.network as name,
        p.account_key,
        p.path
    from paths as p
    inner join numbered as n on p.account_key = n.account_key
    where p.network <> ''
    union all
    select 'path kind' as grouping_kind, p.kind as name, p.account_key, p.path
    from paths as p
    inner join numbered as n on p.account_key = n.account_key
    union all
    select distinct
        'receiver line' as grouping_kind,
        h.receiver || '/' || h.line as name,
        h.account_key,
        h.path
    from heard_as as h
    inner join numbered as n on h.account_key = n.account_key
)
select
    d.grouping_kind,
    d.name,
    d.account_key,
    d.path,
    n.site
from named as d
inner join numbered as n on d.account_key = n.account_key
where d.name <> ''
