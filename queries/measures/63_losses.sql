-- purpose: reported losses of a supervised path, cut to the window
-- grain:   one row per supervised path and loss episode
-- reads:   requirements, episodes, test
-- params:  $as_of, $from, $until timestamp [UTC]
-- returns: lost_s [s] inside the window; a loss without a stated path belongs
--          to the account's only supervised path, else to none. spoke_utc: a
--          periodic test that came by the path while it stood as lost
with
supervised as (
    select
        r.account_key,
        r.path,
        count(*) over (partition by r.account_key) as n_paths
    from requirements as r
    where r.what = 'supervision'
),
lost as (
    select
        s.account_key,
        s.path,
        e.started_utc,
        e.restored_utc,
        e.n_events,
        epoch(least(coalesce(e.restored_utc, $as_of), $until))
        - epoch(greatest(e.started_utc, $from)) as lost_s
    from supervised as s
    inner join episodes as e on s.account_key = e.account_key
    where
        e.family in ('350', '353', '355', '356')
        and (e.path = s.path or s.n_paths = 1)
        and e.started_utc < $until
        and coalesce(e.restored_utc, $as_of) > $from
),
spoke as (
    select
        l.account_key,
        l.path,
        l.started_utc,
        min(t.received_utc) as spoke_utc
    from lost as l
    inner join test as t
        on
            l.account_key = t.account_key
            and l.path = t.path
            and t.received_utc > l.started_utc
            and t.received_utc < coalesce(l.restored_utc, $as_of)
    where t.test_kind = 'periodic'
    group by l.account_key, l.path, l.started_utc
)
select
    l.account_key,
    l.path,
    l.started_utc,
    l.restored_utc,
    l.n_events,
    l.lost_s,
    s.spoke_utc
from lost as l
left join spoke as s
    on
        l.account_key = s.account_key
        and l.path = s.path
        and l.started_utc = s.started_utc
