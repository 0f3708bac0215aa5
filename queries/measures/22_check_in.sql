-- purpose: recent check-ins with owner and path settled
-- grain:   as fact_check_in, from 28 days before the window; of earlier ones
--          the last of each way
-- reads:   fact_check_in, fact_day, heard_as
-- params:  $from timestamp [UTC]
-- returns: when a path showed itself alive
with
recent as (
    select account_key, received_utc, receiver, line, path, time_doubt
    from fact_check_in
    where received_utc >= $from - interval 28 day
    union all
    select
        account_key,
        max(last_utc) as received_utc,
        receiver,
        line,
        path,
        'exact' as time_doubt
    from fact_day
    where format = 'check_in' and last_utc < $from - interval 28 day
    group by account_key, receiver, line, path
)
select
    h.account_key,
    h.path,
    f.received_utc,
    f.receiver,
    f.line,
    f.time_doubt
from recent as f
inner join heard_as as h
    on
        f.account_key = h.heard_key
        and f.receiver = h.receiver
        and f.line = h.line
        and f.path = h.stated_path
