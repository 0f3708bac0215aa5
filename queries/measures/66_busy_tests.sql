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
busy as (
    select distinct r.account_key, r.path, r.what, r.received_utc
    from received as r
    inner join day as d
        on
            r.account_key = d.account_key
            and (r.path = d.path or r.path = '')
    where
        d.format not in ('check_in', 'contact_input')
        and d.code not in ('602', '603', '608')
        and (
            (
                epoch(d.last_utc) < epoch(r.received_utc)
                and epoch(d.last_utc) > epoch(r.received_utc) - r.seconds
            )
            or (
                epoch(d.first_utc) < epoch(r.received_utc)
                and epoch(d.first_utc) > epoch(r.received_utc) - r.seconds
            )
        )
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
