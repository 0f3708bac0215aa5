-- purpose: a panel that restarts again and again without a loss of power
-- grain:   one row per monitored account with a reported reset in four weeks
-- reads:   said, episodes, on_test, excuses, accounts, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [days in four
--          weeks]; n resets in all
-- Days on test and days on which mains or battery were lost or came back are
-- taken off, as many as there were: a technician restarts a panel, and so does
-- an empty battery.
with
told as (
    select
        s.account_key,
        sum(s.n) as n,
        max(s.n_days) as n_days,
        min(s.first_utc) as first_utc,
        max(s.last_utc) as last_utc
    from said as s
    inner join accounts as a on s.account_key = a.account_key
    where a.monitored and s.code = '305' and s.qualifier <> 'R'
    group by s.account_key
),
tried as (
    select
        o.account_key,
        sum(
            floor(epoch(least(
                coalesce(o.until_utc, cast($until as timestamp)),
                cast($until as timestamp)
            )) / 86400)
            - floor(epoch(greatest(
                o.from_utc, cast($until as timestamp) - interval 28 day
            )) / 86400) + 1
        ) as n_days
    from on_test as o
    where
        o.from_utc < $until
        and (
            o.until_utc is null
            or o.until_utc > $until - interval 28 day
        )
    group by o.account_key
),
turns as (
    select account_key, date_trunc('day', started_utc) as turned_on
    from episodes
    where
        family in ('301', '302', '308', '311', '314', '342')
        and started_utc >= $until - interval 28 day
    union
    select account_key, date_trunc('day', restored_utc) as turned_on
    from episodes
    where
        family in ('301', '302', '308', '311', '314', '342')
        and restored_utc >= $until - interval 28 day
),
unpowered as (
    select account_key, count(*) as n_days
    from turns
    group by account_key
),
lacking as (
    select
        account_key,
        sum(
            epoch(least(until_utc, cast($until as timestamp)))
            - epoch(greatest(
                from_utc, cast($until as timestamp) - interval 28 day
            ))
        ) as lacking_s
    from excuses
    where
        path = ''
        and why <> 'on_test'
        and until_utc > $until - interval 28 day
        and from_utc < $until
    group by account_key
),
judged as (
    select
        t.*,
        greatest(
            t.n_days - coalesce(r.n_days, 0) - coalesce(u.n_days, 0), 0
        ) as n_own,
        l.value as limit_n,
        coalesce(k.lacking_s, 0) as lacking_s
    from told as t
    inner join limits as l
        on t.account_key = l.account_key and l.name = 'days'
    left join tried as r on t.account_key = r.account_key
    left join unpowered as u on t.account_key = u.account_key
    left join lacking as k on t.account_key = k.account_key
)
select
    account_key,
    '' as subject,
    case
        when n_own >= limit_n then 'finding'
        when n_own > 0 and n_own * 2419200 >= limit_n * (2419200 - lacking_s)
            then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when n_own >= limit_n then ''
        when n_own > 0 and n_own * 2419200 >= limit_n * (2419200 - lacking_s)
            then 'too much of four weeks is not in the log'
        when n_days >= limit_n then 'on days of work or lost power'
        else 'seldom'
    end as reason,
    cast(n_own as double) as measured,
    limit_n as limit_value,
    'days' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n as evidence_count,
    n_days - n_own as excused_count,
    case when n_own >= 2 * limit_n then 3 else 2 end as grade,
    n_own as k,
    n
from judged
