-- purpose: check-ins (link supervision signals), one by one
-- grain:   one row per check-in
-- reads:   events
-- params:  none
-- returns: when and by which receiver line a path showed itself alive
select
    account_key,
    utc_day,
    received_utc,
    receiver,
    line,
    path,
    time_doubt
from events
where format = 'check_in'
order by account_key, received_utc, receiver, line
