-- purpose: what accounts still send after the roster says they ended
-- grain:   one row per cancelled account heard in the window
-- reads:   accounts, day
-- params:  $from timestamp [UTC]
-- returns: signals of the window, and of it those received at least a day
--          after the day of the end, so that no zone's midnight matters
select
    a.account_key,
    a.cancelled_on,
    sum(d.n) as n_window,
    coalesce(sum(d.n) filter (
        where d.utc_day > a.cancelled_on + interval 1 day
    ), 0) as n_after,
    coalesce(sum(d.n) filter (
        where
        d.utc_day > a.cancelled_on + interval 1 day
        and d.qualifier = 'E'
        and d.code_group in (
            'alarm_fire', 'alarm_medical', 'alarm_holdup',
            'alarm_burglary', 'alarm_other'
        )
    ), 0) as n_alarms_after,
    coalesce(sum(d.n) filter (
        where
        d.utc_day > a.cancelled_on + interval 1 day
        and d.code in ('602', '603', '608')
    ), 0) as n_tests_after,
    min(case
        when d.utc_day > a.cancelled_on + interval 1 day then d.first_utc
    end) as first_after_utc,
    max(d.last_utc) as last_utc
from accounts as a
inner join day as d on a.account_key = d.account_key
where
    a.status = 'cancelled'
    and d.origin <> 'receiver'
    and d.first_utc >= $from
group by a.account_key, a.cancelled_on
