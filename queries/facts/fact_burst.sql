-- purpose: when an account sent many signals in a row
-- grain:   one row per account, UTC day and run of 12 or more signals of which
--          none came half an hour after the one before
-- reads:   events
-- params:  none
-- returns: n [signals], resends among them, how many points and codes; check-
--          ins are left out. Only days with 12 signals are looked at, so that
--          most accounts cost nothing. A run that UTC midnight cuts is two
--          rows.
with
busy as (
    select account_key, utc_day
    from events
    where format <> 'check_in' and origin <> 'receiver'
    group by account_key, utc_day
    having count(*) >= 12
),
ordered as (
    select
        e.account_key,
        e.utc_day,
        e.received_utc,
        e.code,
        e.partition,
        e.zone,
        e.is_resend,
        e.source_id,
        e.line_no,
        lag(e.received_utc) over (
            partition by e.account_key, e.utc_day
            order by e.received_utc, e.source_id, e.line_no
        ) as before_utc
    from events as e
    inner join busy as b
        on e.account_key = b.account_key and e.utc_day = b.utc_day
    where e.format <> 'check_in' and e.origin <> 'receiver'
),
marked as (
    select
        *,
        case
            when before_utc is null then 1
            when epoch(received_utc) - epoch(before_utc) >= 1800 then 1
            else 0
        end as begins
    from ordered
),
numbered as (
    select
        *,
        sum(begins) over (
            partition by account_key, utc_day
            order by received_utc, source_id, line_no
            rows between unbounded preceding and current row
        ) as burst_no
    from marked
)
select
    account_key,
    utc_day,
    burst_no,
    count(*) as n,
    count(*) filter (where is_resend) as n_resend,
    count(distinct code) as n_codes,
    count(distinct partition || '/' || zone) as n_points,
    min(received_utc) as first_utc,
    max(received_utc) as last_utc
from numbered
group by account_key, utc_day, burst_no
having count(*) >= 12
order by account_key, utc_day, burst_no
