-- purpose: openings and closings by users whom the roster does not list
-- grain:   one row per monitored account with openings or closings by number
-- reads:   said, zones, accounts, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [signals in four
--          weeks]; k users of n not listed
-- Number 000 is nobody in particular (quick arming, automatic, keyswitch).
with
users as (
    select
        s.account_key,
        s.zone,
        sum(s.n) as n,
        max(s.n_days) as n_days,
        min(s.first_utc) as first_utc,
        max(s.last_utc) as last_utc
    from said as s
    inner join accounts as a on s.account_key = a.account_key
    where
        a.monitored
        and s.qualifier in ('E', 'R')
        and s.zone not in ('', '000')
        and s.code in (
            '400', '401', '402', '407', '441', '444', '450', '451', '452',
            '456', '458'
        )
    group by s.account_key, s.zone
),
listed as (
    select account_key, zone, count(*) as n_rows
    from zones
    where kind = 'user' and zone <> ''
    group by account_key, zone
),
lists as (
    select account_key, count(*) as n_rows
    from listed
    group by account_key
),
counted as (
    select
        u.account_key,
        count(*) as n_users,
        count(*) filter (where l.zone is null) as n_unlisted,
        coalesce(sum(u.n) filter (where l.zone is null), 0) as n_signals,
        coalesce(max(u.n_days) filter (where l.zone is null), 0) as n_days,
        min(u.first_utc) filter (where l.zone is null) as first_utc,
        max(u.last_utc) filter (where l.zone is null) as last_utc,
        min(u.first_utc) as first_any_utc,
        max(u.last_utc) as last_any_utc
    from users as u
    left join listed as l
        on u.account_key = l.account_key and u.zone = l.zone
    group by u.account_key
)
select
    c.account_key,
    '' as subject,
    case
        when t.account_key is null then 'not_judged'
        when c.n_signals >= e.value then 'finding'
        else 'sound'
    end as verdict,
    case
        when t.account_key is null then 'no user list on the roster'
        when c.n_signals >= e.value and c.n_unlisted = c.n_users
            then 'not one user heard is on the list'
        when c.n_signals >= e.value or c.n_signals = 0 then ''
        else 'few signals'
    end as reason,
    cast(c.n_signals as double) as measured,
    e.value as limit_value,
    'signals' as unit,
    coalesce(c.first_utc, c.first_any_utc) as since_utc,
    coalesce(c.last_utc, c.last_any_utc) as until_utc,
    coalesce(c.first_utc, c.first_any_utc) as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    c.n_signals as evidence_count,
    0 as excused_count,
    case when c.n_days > 1 then 3 else 2 end as grade,
    c.n_unlisted as k,
    c.n_users as n
from counted as c
inner join limits as e
    on c.account_key = e.account_key and e.name = 'signals'
left join lists as t on c.account_key = t.account_key
