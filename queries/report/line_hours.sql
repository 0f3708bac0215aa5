-- purpose: calls of each receiver line, hour by hour
-- grain:   one row per receiver line and UTC hour with a call
-- reads:   all_fact_minute, all_fact_check_in, all_fact_receiver
-- params:  $as_of, $from timestamp [UTC]
-- returns: n [calls]: signals that are no check-ins and not the receiver's own
with
heard as (
    select
        receiver,
        line,
        date_trunc('hour', utc_minute) as utc_hour,
        sum(n) as n
    from all_fact_minute
    where utc_minute >= $from and utc_minute < $as_of
    group by receiver, line, date_trunc('hour', utc_minute)
),
no_calls as (
    select receiver, line, date_trunc('hour', received_utc) as utc_hour
    from all_fact_check_in
    where received_utc >= $from and received_utc < $as_of
    union all
    select receiver, line, date_trunc('hour', received_utc) as utc_hour
    from all_fact_receiver
    where received_utc >= $from and received_utc < $as_of
),
counted as (
    select receiver, line, utc_hour, count(*) as n
    from no_calls
    group by receiver, line, utc_hour
)
select
    h.receiver,
    h.line,
    h.utc_hour,
    cast(h.n - coalesce(c.n, 0) as bigint) as n
from heard as h
left join counted as c
    on
        h.receiver = c.receiver
        and h.line = c.line
        and h.utc_hour = c.utc_hour
where h.n > coalesce(c.n, 0)
order by h.receiver, h.line, h.utc_hour
