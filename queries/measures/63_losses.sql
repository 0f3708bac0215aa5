-- purpose: reported losses of a supervised path, cut to the window
-- grain:   one row per supervised path and loss episode
-- reads:   requirements, episodes
-- params:  $as_of, $from, $until timestamp [UTC]
-- returns: lost_s [s] inside the window; a loss without a stated path belongs
--          to the account's only supervised path, else to none
with
supervised as (
    select
        r.account_key,
        r.path,
        count(*) over (partition by r.account_key) as n_paths
    from requirements as r
    where r.what = 'supervision'
)
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
