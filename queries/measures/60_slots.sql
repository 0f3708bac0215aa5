-- purpose: tests that should have come and did not, one by one
-- grain:   one row per requirement and missed due time, from 28 days before
--          the window up to $as_of
-- reads:   requirements, test, day, excuses, numbers, calendar
-- params:  $as_of, $from timestamp [UTC]
-- returns: state missed or excused; lenient_ok true where another signal of
--          the same path (or of the panel) came instead. In a gap g between
--          counting tests round(g / interval) - 1 were missed once g exceeds
--          interval and grace; in the open gap before $as_of every due time
--          whose grace is over; where the clocks went back within it, the hour
--          that came twice is granted, for a panel may keep wall time. What is
--          asked of the account as a whole is excused too where the path was
--          that brought its last test
with
-- Of the tests before the four weeks only the last one opens a gap into them.
told as (
    select
        account_key,
        path,
        origin,
        received_utc
    from test
    where test_kind = 'periodic'
        and received_utc >= $from - interval 28 day
    union all
    select
        account_key,
        path,
        origin,
        max(received_utc) as received_utc
    from test
    where test_kind = 'periodic'
        and received_utc < $from - interval 28 day
    group by account_key, path, origin
),
series as (
    select
        r.account_key, r.path, r.what, r.seconds, r.grace_s, t.received_utc,
        t.path as by_path
    from requirements as r
    inner join told as t
        on
            r.account_key = t.account_key
            and (r.path = t.path or r.path = '')
    where
        r.what = 'test'
        or (r.what = 'panel_test' and t.origin = 'panel')
),
gaps as (
    select
        *,
        lead(received_utc) over (
            partition by account_key, path, what
            order by received_utc
        ) as next_utc
    from series
),
measured as (
    select
        g.*,
        epoch(coalesce(g.next_utc, $as_of)) - epoch(g.received_utc) as gap_s,
        greatest(b.offset_s - n.offset_s, 0) as twice_s
    from gaps as g
    inner join calendar as b
        on g.received_utc >= b.from_utc and g.received_utc < b.until_utc
    inner join calendar as n
        on $as_of >= n.from_utc and $as_of < n.until_utc
    where coalesce(g.next_utc, $as_of) >= $from - interval 28 day
),
counted as (
    select
        *,
        case
            when gap_s <= seconds + grace_s then 0
            when next_utc is null
                then floor((gap_s - grace_s - twice_s) / seconds)
            else round(gap_s / seconds) - 1
        end as n_missed
    from measured
),
due as (
    select
        c.account_key,
        c.path,
        c.what,
        c.seconds,
        c.grace_s,
        c.by_path,
        c.received_utc as before_utc,
        c.next_utc,
        c.received_utc
        + n.i * cast(round(c.seconds) as bigint) * interval 1 second
            as due_utc
    from counted as c
    inner join numbers as n on n.i >= 1 and n.i <= c.n_missed
),
recent as (
    select *
    from due
    where due_utc >= $from - interval 28 day and due_utc < $as_of
),
excused as (
    select
        d.account_key,
        d.path,
        d.what,
        d.due_utc,
        min(e.why) as why,
        min(e.incident_id) as incident_id
    from recent as d
    inner join excuses as e
        on
            d.account_key = e.account_key
            and (d.path = e.path or (d.path = '' and d.by_path = e.path))
    where
        epoch(e.from_utc) <= epoch(d.due_utc) + d.grace_s
        and epoch(e.until_utc) >= epoch(d.due_utc) - d.grace_s
    group by d.account_key, d.path, d.what, d.due_utc
),
replaced as (
    select distinct d.account_key, d.path, d.what, d.due_utc
    from recent as d
    inner join day as s
        on
            d.account_key = s.account_key
            and (d.path = s.path or d.path = '')
    where
        s.format not in ('check_in', 'contact_input')
        and (d.what <> 'panel_test' or s.origin = 'panel')
        and s.first_utc <= d.due_utc + interval 1 day
        and s.last_utc >= d.due_utc - interval 31 day
        and (
            (
                epoch(s.last_utc) > epoch(d.due_utc) - d.seconds
                and epoch(s.last_utc) <= epoch(d.due_utc) + d.grace_s
                and s.last_utc > d.before_utc
            )
            or (
                epoch(s.first_utc) > epoch(d.due_utc) - d.seconds
                and epoch(s.first_utc) <= epoch(d.due_utc) + d.grace_s
                and s.first_utc > d.before_utc
            )
        )
)
select
    d.account_key,
    d.path,
    d.what,
    d.due_utc,
    d.seconds,
    d.before_utc,
    d.next_utc is null as is_open,
    case when e.due_utc is null then 'missed' else 'excused' end as state,
    coalesce(e.why, '') as why,
    coalesce(e.incident_id, '') as incident_id,
    l.due_utc is not null as lenient_ok
from recent as d
left join excused as e
    on
        d.account_key = e.account_key
        and d.path = e.path
        and d.what = e.what
        and d.due_utc = e.due_utc
left join replaced as l
    on
        d.account_key = l.account_key
        and d.path = l.path
        and d.what = l.what
        and d.due_utc = l.due_utc
order by d.account_key, d.path, d.what, d.due_utc
