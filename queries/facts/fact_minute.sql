-- purpose: how busy each receiver line was, minute by minute
-- grain:   one row per receiver, line and UTC minute with at least one signal
-- reads:   events
-- params:  none
-- returns: n [signals], first and last signal of the minute
select
    receiver,
    line,
    date_trunc('minute', received_utc) as utc_minute,
    count(*) as n,
    min(received_utc) as first_utc,
    max(received_utc) as last_utc
from events
group by receiver, line, date_trunc('minute', received_utc)
order by receiver, line, utc_minute
