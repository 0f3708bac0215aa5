-- purpose: the roster says that a path checks in, and it never did
-- grain:   one row per path with checks_in and a supervision interval
-- reads:   requirements, paths, life, heard, excuses, account_line_facts,
--          untold, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [intervals]
with
supervised as (
    select
        r.account_key,
        r.path,
        r.seconds,
        r.grace_s,
        r.standing,
        h.first_utc as heard_first_utc,
        i.value as intervals,
        d.value * 3600 as least_s,
        u.account_key is not null as is_untold,
        coalesce(f.n_check_ins_of_others, 0) as n_of_others
    from requirements as r
    inner join paths as p
        on r.account_key = p.account_key and r.path = p.path
    inner join heard as h on r.account_key = h.account_key
    inner join limits as i
        on r.account_key = i.account_key and i.name = 'intervals'
    inner join limits as d
        on r.account_key = d.account_key and d.name = 'least_h'
    left join untold as u on r.account_key = u.account_key
    left join account_line_facts as f
        on r.account_key = f.account_key and r.path = f.path
    where r.what = 'supervision' and p.checks_in = 'yes'
),
seen as (
    select account_key, path, sum(n) as n, min(first_utc) as first_utc
    from life
    where sign = 'check_in'
    group by account_key, path
),
hidden as (
    select
        s.account_key,
        s.path,
        sum(
            epoch(least(e.until_utc, $as_of))
            - epoch(greatest(e.from_utc, s.heard_first_utc))
        ) as hidden_s
    from supervised as s
    inner join excuses as e
        on s.account_key = e.account_key and s.path = e.path
    where
        e.why <> 'on_test'
        and e.until_utc > s.heard_first_utc
        and e.from_utc < $as_of
    group by s.account_key, s.path
),
clocked as (
    select
        s.*,
        coalesce(v.n, 0) as n_seen,
        coalesce(h.hidden_s, 0) as hidden_s,
        epoch($as_of) - epoch(s.heard_first_utc) - coalesce(h.hidden_s, 0)
            as open_s
    from supervised as s
    left join seen as v
        on s.account_key = v.account_key and s.path = v.path
    left join hidden as h
        on s.account_key = h.account_key and s.path = h.path
)
select
    account_key,
    'path=' || path as subject,
    case
        when n_seen > 0 then 'sound'
        when is_untold then 'not_judged'
        when open_s <= greatest(intervals * seconds + grace_s, least_s)
            then 'not_judged'
        when n_of_others = 0 then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_seen > 0 then ''
        when is_untold then 'paths not told apart'
        when open_s <= greatest(intervals * seconds + grace_s, least_s)
            then 'heard for too short a time'
        when n_of_others = 0 then 'no check-in of anybody in the log'
        else ''
    end as reason,
    open_s / seconds as measured,
    intervals as limit_value,
    'intervals' as unit,
    heard_first_utc as since_utc,
    $as_of as until_utc,
    heard_first_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    0 as evidence_count,
    case when hidden_s > 0 then 1 else 0 end as excused_count,
    case when open_s > 7 * 86400 then 3 else 2 end as grade,
    0 as k,
    cast(floor(open_s / seconds) as bigint) as n,
    standing
from clocked
