-- purpose: whether and when an account was heard at all
-- grain:   one row per account ever heard up to $as_of
-- reads:   day
-- params:  $from, $until timestamp [UTC] the window
-- returns: n_ever, n_window [signals]; n_alarm_window [alarms, each once
--          however many ways told it]; first and last
select
    account_key,
    min(first_utc) as first_utc,
    max(last_utc) as last_utc,
    sum(n) as n_ever,
    coalesce(sum(n) filter (
        where last_utc >= $from and first_utc < $until
    ), 0) as n_window,
    coalesce(sum(n - n_copy) filter (
        where
        last_utc >= $from and first_utc < $until
        and code_group in (
            'alarm_fire', 'alarm_medical', 'alarm_holdup',
            'alarm_burglary', 'alarm_other'
        )
        and qualifier = 'E'
    ), 0) as n_alarm_window,
    count(distinct utc_day) as days_heard
from day
where origin <> 'receiver'
group by account_key
