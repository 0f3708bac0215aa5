-- purpose: beginnings of conditions at some points, one by one
-- grain:   one row per asked point and instant of the window
-- reads:   kept_episodes, told_points
-- params:  $from, $until timestamp [UTC]
-- returns: at_s [s since 1970]
select distinct
    t.account_key,
    t.subject,
    epoch(e.started_utc) as at_s
from told_points as t
inner join kept_episodes as e
    on
        t.account_key = e.account_key
        and t.subject = 'zone=' || e.partition || '/' || e.zone
where e.started_utc >= $from and e.started_utc < $until
order by t.account_key, t.subject, at_s
