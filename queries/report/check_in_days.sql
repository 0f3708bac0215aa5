-- purpose: check-ins of the accounts that have a page, day by day
-- grain:   one row per page, UTC day, receiver and line
-- reads:   all_fact_check_in, asked_keys
-- params:  $from, $as_of timestamp [UTC]
-- returns: n [check-ins] and the longest silence before one of them [s]
with
steps as (
    select
        k.page_no,
        f.utc_day,
        f.receiver,
        f.line,
        f.received_utc,
        lag(f.received_utc) over (
            partition by k.page_no, f.receiver, f.line
            order by f.received_utc
        ) as before_utc
    from all_fact_check_in as f
    inner join asked_keys as k on f.account_key = k.heard_key
    where
        f.received_utc >= $from - interval 28 day
        and f.received_utc < $as_of
)
select
    page_no,
    utc_day as local_day,
    receiver || '/' || line as path,
    count(*) as n,
    max(epoch(received_utc) - epoch(before_utc)) as max_gap_s
from steps
group by page_no, utc_day, receiver, line
order by page_no, utc_day, receiver, line
