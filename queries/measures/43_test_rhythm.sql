-- purpose: the interval at which a path's tests come, whichever box sends them
-- grain:   one row per account and path with a periodic test
-- reads:   rhythm, test
-- params:  none
-- returns: period_s [s] of the box that tests most, null where none was found;
--          first and last test
with
edges as (
    select
        account_key,
        path,
        min(received_utc) as first_utc,
        max(received_utc) as last_utc
    from test
    where test_kind = 'periodic'
    group by account_key, path
)
select
    r.account_key,
    r.path,
    arg_max(r.period_s, r.n) as period_s,
    sum(r.n) as n,
    arg_max(r.single_step_share, r.n) as single_step_share,
    min(e.first_utc) as first_utc,
    max(e.last_utc) as last_utc
from rhythm as r
inner join edges as e
    on r.account_key = e.account_key and r.path = e.path
group by r.account_key, r.path
