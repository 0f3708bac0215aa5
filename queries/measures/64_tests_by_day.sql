-- purpose: required tests of each local day: received, missed, excused
-- grain:   one row per local day of the window
-- reads:   requirements, test, slots, calendar
-- params:  $from, $until timestamp [UTC]
-- returns: counts [tests]; lenient counts a missed test whose path carried
--          another signal instead
with
received as (
    select
        cast(t.received_utc + c.offset_s * interval 1 second as date)
            as local_day,
        count(*) as n
    from requirements as r
    inner join test as t
        on
            r.account_key = t.account_key
            and (r.path = t.path or r.path = '')
    inner join calendar as c
        on t.received_utc >= c.from_utc and t.received_utc < c.until_utc
    where
        r.what = 'test'
        and t.test_kind = 'periodic'
        and t.received_utc >= $from
        and t.received_utc < $until
    group by cast(t.received_utc + c.offset_s * interval 1 second as date)
),
due as (
    select
        cast(s.due_utc + c.offset_s * interval 1 second as date) as local_day,
        sum(case when s.state = 'missed' then 1 else 0 end) as missed,
        sum(case
            when s.state = 'missed' and s.lenient_ok then 1 else 0
        end) as stood_in,
        sum(case when s.state = 'excused' then 1 else 0 end) as excused
    from slots as s
    inner join calendar as c
        on s.due_utc >= c.from_utc and s.due_utc < c.until_utc
    where s.what = 'test' and s.due_utc >= $from and s.due_utc < $until
    group by cast(s.due_utc + c.offset_s * interval 1 second as date)
)
select
    coalesce(r.local_day, d.local_day) as local_day,
    coalesce(r.n, 0) as strict,
    coalesce(d.missed, 0) as missed,
    coalesce(d.stood_in, 0) as stood_in,
    coalesce(d.excused, 0) as excused
from received as r
full outer join due as d on r.local_day = d.local_day
