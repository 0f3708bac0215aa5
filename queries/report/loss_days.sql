-- purpose: line cuts and losses of a path, by account and day before $until
-- grain:   one row per monitored account heard, kind of loss and day with one
-- reads:   kept_episodes, kept_heard, kept_shared_losses, all_accounts,
--          all_on_test, all_paths, station
-- params:  $from, $until timestamp [UTC]
-- returns: days_ago 0 = the last 24 h before $until; n beginnings; -1 and n 0
--          for an account without any. from_utc first day watched; has_kind 1
--          where the roster names such a path. Losses on test, and those in a
--          disturbance many accounts share, are nobody's and left out
with
kinds as (
    select distinct
        account_key,
        case when kind = 'phone' then 'line_cuts' else 'path_losses' end
            as what
    from all_paths
),
watched as (
    select
        h.account_key,
        w.what,
        greatest(h.first_utc, s.data_first_utc, $from - interval 91 day)
            as from_utc
    from kept_heard as h
    inner join all_accounts as a on h.account_key = a.account_key
    cross join station as s
    cross join (
        select 'line_cuts' as what
        union all
        select 'path_losses' as what
    ) as w
    where a.monitored and h.first_utc < $from
),
began as (
    select
        e.account_key,
        case
            when e.family in ('351', '352') then 'line_cuts'
            else 'path_losses'
        end as what,
        floor((epoch($until) - epoch(e.started_utc)) / 86400) as days_ago,
        count(distinct e.started_utc) as n
    from kept_episodes as e
    left join kept_shared_losses as s
        on
            e.account_key = s.account_key
            and e.family = s.family
            and e.partition = s.partition
            and e.zone = s.zone
            and e.started_utc = s.started_utc
    left join (
        select x.account_key, x.started_utc, count(*) as n_spans
        from kept_episodes as x
        inner join all_on_test as t
            on
                x.account_key = t.account_key
                and x.started_utc >= t.from_utc
                and (t.until_utc is null or x.started_utc < t.until_utc)
        group by x.account_key, x.started_utc
    ) as t
        on e.account_key = t.account_key and e.started_utc = t.started_utc
    where
        e.family in ('350', '351', '352', '353', '355', '356')
        and e.started_utc < $until
        and e.started_utc >= $from - interval 91 day
        and s.account_key is null
        and t.n_spans is null
    group by
        e.account_key,
        case
            when e.family in ('351', '352') then 'line_cuts'
            else 'path_losses'
        end,
        floor((epoch($until) - epoch(e.started_utc)) / 86400)
)
select
    w.account_key,
    w.what,
    cast(coalesce(b.days_ago, -1) as bigint) as days_ago,
    cast(coalesce(b.n, 0) as bigint) as n,
    (epoch($until) - epoch(w.from_utc)) / 86400 as watched_days,
    (epoch($until) - epoch($from)) / 86400 as window_days,
    case when k.account_key is null then 0 else 1 end as has_kind
from watched as w
left join began as b on w.account_key = b.account_key and w.what = b.what
left join kinds as k on w.account_key = k.account_key and w.what = k.what
order by w.account_key, w.what, b.days_ago desc
