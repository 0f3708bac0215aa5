-- purpose: line sensing reports a cut from the first day on, never a restore
-- grain:   one row per account and line-fault code that was never restored
-- reads:   habits, episodes, heard, accounts, paths, excuses, station, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h] open
-- A cut line has a healthy past. Here the fault stood with the first signals of
-- the account, or began anew with every restart of power, and not one restore
-- came. Where the log begins in the middle of the account's life, the first day
-- is the log's and not the site's: then it takes two beginnings or reminders.
with
never_back as (
    select
        h.account_key,
        h.family,
        h.n_began,
        h.days_began,
        h.first_began_utc,
        h.last_began_utc,
        a.installed_on,
        v.first_utc as heard_utc,
        o.value as open_h_limit,
        b.value * 3600 as born_s
    from habits as h
    inner join accounts as a on h.account_key = a.account_key
    inner join heard as v on h.account_key = v.account_key
    inner join limits as o
        on h.account_key = o.account_key and o.name = 'open_h'
    inner join limits as b
        on h.account_key = b.account_key and b.name = 'born_h'
    where
        a.monitored
        and h.family in ('351', '352')
        and h.n_restored = 0
        and h.n_began > 0
),
promised as (
    select account_key, count(*) as n_lines
    from paths
    where kind = 'phone'
    group by account_key
),
origins as (
    select account_key, family, sum(n_doubt) as n_doubt
    from episodes
    where family in ('351', '352')
    group by account_key, family
),
lacking as (
    select
        n.account_key,
        n.family,
        sum(
            epoch(least(x.until_utc, $as_of))
            - epoch(greatest(x.from_utc, n.first_began_utc))
        ) as lacking_s
    from never_back as n
    inner join excuses as x on n.account_key = x.account_key
    where
        x.path = ''
        and x.why <> 'on_test'
        and x.until_utc > n.first_began_utc
        and x.from_utc < $as_of
    group by n.account_key, n.family
),
judged as (
    select
        n.*,
        coalesce(p.n_lines, 0) as n_lines,
        coalesce(o.n_doubt, 0) as n_doubt,
        coalesce(k.lacking_s, 0) as lacking_s,
        (
            epoch($as_of) - epoch(n.first_began_utc)
            - coalesce(k.lacking_s, 0)
        ) / 3600 as open_h,
        epoch(n.first_began_utc) - epoch(n.heard_utc) <= n.born_s as is_born,
        epoch(n.heard_utc) - epoch(s.data_first_utc) > n.born_s
        and (
            n.installed_on is null
            or epoch(cast(n.installed_on as timestamp))
            >= epoch(s.data_first_utc) - n.born_s
        ) as is_seen_from_birth
    from never_back as n
    cross join station as s
    left join promised as p on n.account_key = p.account_key
    left join origins as o
        on n.account_key = o.account_key and n.family = o.family
    left join lacking as k
        on n.account_key = k.account_key and n.family = k.family
)
select
    account_key,
    'code=' || family as subject,
    case
        when not is_born then 'not_judged'
        when open_h <= open_h_limit and lacking_s > 0 then 'not_judged'
        when open_h <= open_h_limit then 'sound'
        when not is_seen_from_birth and n_began < 2 then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when not is_born then 'the line was whole in the first days'
        when open_h <= open_h_limit and lacking_s > 0
            then 'the restore may lie in hours that the log lacks'
        when open_h <= open_h_limit then 'within the limit'
        when not is_seen_from_birth and n_began < 2
            then 'the log does not reach back to the first day'
        when n_lines > 0 then 'the roster names a telephone line'
        else 'the roster names no telephone line'
    end as reason,
    open_h as measured,
    open_h_limit as limit_value,
    'h' as unit,
    first_began_utc as since_utc,
    $as_of as until_utc,
    first_began_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_began as evidence_count,
    case when lacking_s > 0 then 1 else 0 end as excused_count,
    case when is_seen_from_birth and n_began > 1 then 3 else 2 end as grade,
    n_began as k,
    n_began as n,
    case when n_lines > 0 then 1 else 0 end as aggravated,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
