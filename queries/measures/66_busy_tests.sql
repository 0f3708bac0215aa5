-- purpose: whether a path's tests also come on days with other traffic
-- grain:   one row per required test with misses in four weeks
-- reads:   test_measures, received_slots, day
-- params:  $until timestamp [UTC]
-- returns: n_tests received in four weeks, n_busy of them within one interval
--          after another signal of the path. A panel that puts its test off
--          when it has reported anyway has hardly any; one that tests by the
--          clock has many
with
suspects as (
    select account_key, path, what, seconds
    from test_measures
    where k_four_weeks > 0
),
received as (
    select s.account_key, s.path, s.what, s.seconds, r.received_utc
    from suspects as s
    inner join received_slots as r
        on
            s.account_key = r.account_key
            and s.path = r.path
            and s.what = r.what
    where
        r.received_utc >= $until - interval 28 day
        and r.received_utc < $until
),
signs as (
    select s.account_key, s.path, s.what, d.first_utc, d.last_utc
    from suspects as s
    inner join day as d
        on
            s.account_key = d.account_key
            and (s.path = d.path or s.path = '')
    where
        d.format not in ('check_in', 'contact_input')
        and d.code not in ('602', '603', '608')
        and epoch(d.last_utc)
        > epoch($until - interval 28 day) - s.seconds
        and d.first_utc < $until
),
-- A test is busy if the last sign before it is no older than an interval; a
-- sign of the same instant is not before it.
line_of_time as (
    select account_key, path, what, received_utc as at_utc, 0 as is_sign
    from received
    union all
    select account_key, path, what, first_utc as at_utc, 1 as is_sign
    from signs
    union all
    select account_key, path, what, last_utc as at_utc, 1 as is_sign
    from signs
),
followed as (
    select
        *,
        max(case when is_sign = 1 then at_utc end) over (
            partition by account_key, path, what
            order by at_utc, is_sign
            rows between unbounded preceding and current row
        ) as sign_utc
    from line_of_time
),
busy as (
    select distinct r.account_key, r.path, r.what, r.received_utc
    from received as r
    inner join followed as f
        on
            r.account_key = f.account_key
            and r.path = f.path
            and r.what = f.what
            and r.received_utc = f.at_utc
    where
        f.is_sign = 0
        and epoch(f.sign_utc) > epoch(r.received_utc) - r.seconds
)
select
    r.account_key,
    r.path,
    r.what,
    count(*) as n_tests,
    count(b.received_utc) as n_busy
from received as r
left join busy as b
    on
        r.account_key = b.account_key
        and r.path = b.path
        and r.what = b.what
        and r.received_utc = b.received_utc
group by r.account_key, r.path, r.what
