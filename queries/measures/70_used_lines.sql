-- purpose: the receiver lines an account came in on, beside those listed
-- grain:   one row per account, receiver and line of the window
-- reads:   fact_day, heard_as, paths, receiver_kinds
-- params:  $from, $until timestamp [UTC]
-- returns: n signals without check-ins, n_alarms of them; is_listed where a
--          path names the receiver and this line or none, or its kind is that
--          of the line; lists_any where the roster names any way in at all
with
listed as (
    select account_key, receiver, line
    from paths
    where receiver <> ''
    union
    select p.account_key, k.receiver, k.line
    from paths as p
    inner join receiver_kinds as k on p.kind = k.kind
),
named as (
    select account_key, count(*) as n_named
    from listed
    group by account_key
),
used as (
    select
        h.account_key,
        f.receiver,
        f.line,
        sum(case when f.format = 'check_in' then 0 else f.n end) as n,
        sum(case
            when
                f.qualifier = 'E'
                and f.code_group in (
                    'alarm_fire', 'alarm_medical', 'alarm_holdup',
                    'alarm_burglary', 'alarm_other'
                )
                then f.n
            else 0
        end) as n_alarms,
        min(f.first_utc) as first_utc,
        max(f.last_utc) as last_utc
    from fact_day as f
    inner join heard_as as h
        on
            f.account_key = h.heard_key
            and f.receiver = h.receiver
            and f.line = h.line
            and f.path = h.stated_path
    where
        f.first_utc >= $from
        and f.first_utc < $until
        and f.origin <> 'receiver'
    group by h.account_key, f.receiver, f.line
),
fitting as (
    select u.account_key, u.receiver, u.line, count(*) as n_fitting
    from used as u
    inner join listed as l
        on
            u.account_key = l.account_key
            and u.receiver = l.receiver
            and (u.line = l.line or l.line = '')
    group by u.account_key, u.receiver, u.line
),
own_receiver as (
    select distinct account_key, receiver from listed
)
select
    u.account_key,
    u.receiver,
    u.line,
    u.n,
    u.n_alarms,
    u.first_utc,
    u.last_utc,
    sum(u.n) over (partition by u.account_key) as n_account,
    f.n_fitting is not null as is_listed,
    o.receiver is not null as is_own_receiver,
    coalesce(m.n_named, 0) > 0 as lists_any
from used as u
left join fitting as f
    on
        u.account_key = f.account_key
        and u.receiver = f.receiver
        and u.line = f.line
left join named as m on u.account_key = m.account_key
left join own_receiver as o
    on u.account_key = o.account_key and u.receiver = o.receiver
