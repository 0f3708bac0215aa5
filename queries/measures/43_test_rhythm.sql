-- purpose: the interval at which a path's tests come, whichever box sends them
-- grain:   one row per account and path with a periodic test
-- reads:   rhythm, test
-- params:  none
-- returns: period_s [s] of the box that tests most, null where none was found;
--          n tests it rests on; first and last test
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
),
ranked as (
    select
        account_key,
        path,
        period_s,
        single_step_share,
        sum(n) over (partition by account_key, path) as n,
        row_number() over (
            partition by account_key, path
            order by n desc, origin
        ) as place
    from rhythm
)
select
    r.account_key,
    r.path,
    r.period_s,
    r.n,
    r.single_step_share,
    e.first_utc,
    e.last_utc
from ranked as r
inner join edges as e
    on r.account_key = e.account_key and r.path = e.path
where r.place = 1
