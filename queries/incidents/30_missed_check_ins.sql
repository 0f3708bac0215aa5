-- purpose: check-ins that failed to come where they used to, first of each run
-- grain:   one row per account, path and run of missed check-ins
-- reads:   fact_check_in, heard_as, accounts, on_test
-- params:  $as_of, $from timestamp [UTC]
-- returns: from_utc when the first missed check-in was due by the path's own
--          usual interval (the mean of two weeks, long gaps left out);
--          until_utc the next one, null while none came. From 7 days before the
--          window: there are many
with
series as (
    select h.account_key, h.path, f.received_utc, f.receiver, f.line
    from fact_check_in as f
    inner join heard_as as h
        on
            f.account_key = h.heard_key
            and f.receiver = h.receiver
            and f.line = h.line
            and f.path = h.stated_path
    inner join accounts as a on h.account_key = a.account_key
    where a.monitored and f.received_utc >= $from - interval 7 day
),
steps as (
    select
        *,
        lead(received_utc) over (
            partition by account_key, path
            order by received_utc
        ) as next_utc
    from series
),
mean as (
    select
        account_key,
        path,
        (epoch(max(received_utc)) - epoch(min(received_utc)))
        / (count(*) - 1) as mean_s
    from series
    group by account_key, path
    having count(*) >= 10 and max(received_utc) > min(received_utc)
),
usual as (
    select
        s.account_key,
        s.path,
        avg(epoch(s.next_utc) - epoch(s.received_utc)) as usual_s
    from steps as s
    inner join mean as m
        on s.account_key = m.account_key and s.path = m.path
    where
        s.next_utc is not null
        and epoch(s.next_utc) - epoch(s.received_utc) <= 1.5 * m.mean_s
    group by s.account_key, s.path
),
missed as (
    select
        s.account_key,
        s.path,
        s.receiver,
        s.line,
        s.received_utc
        + cast(round(u.usual_s) as bigint) * interval 1 second as from_utc,
        s.next_utc as until_utc
    from steps as s
    inner join usual as u
        on s.account_key = u.account_key and s.path = u.path
    where
        epoch(coalesce(s.next_utc, $as_of)) - epoch(s.received_utc)
        > 2.5 * u.usual_s
)
select
    m.account_key,
    m.path,
    'check_in' as sign,
    0 as is_told,
    m.from_utc,
    m.until_utc,
    m.receiver,
    m.line
from missed as m
left join on_test as t
    on
        m.account_key = t.account_key
        and m.from_utc >= t.from_utc
        and (t.until_utc is null or m.from_utc < t.until_utc)
where t.account_key is null
