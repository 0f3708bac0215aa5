-- purpose: check-ins of a month that came too late or not at all
-- grain:   one row per supervised path and gap, longer than its interval and
--          grace, that reaches into the month
-- reads:   visible_requirements, check_in, excuses, month_span
-- params:  $as_of timestamp [UTC]
-- returns: late_utc when the next check-in was overdue; until_utc when one
--          came, or $as_of while none did; missed false, with the reason,
--          where the part of the gap that nothing away from the site explains
--          is no longer than interval and grace
with
series as (
    select
        r.account_key,
        r.path,
        r.seconds,
        r.grace_s,
        c.received_utc,
        lead(c.received_utc) over (
            partition by r.account_key, r.path
            order by c.received_utc
        ) as next_utc
    from visible_requirements as r
    inner join check_in as c
        on r.account_key = c.account_key and r.path = c.path
    where r.what = 'supervision'
),
gaps as (
    select
        account_key,
        path,
        seconds,
        received_utc as from_utc,
        received_utc
        + cast(round(seconds + grace_s) as bigint) * interval 1 second
            as late_utc,
        coalesce(next_utc, $as_of) as until_utc,
        next_utc is null as is_open
    from series
),
mine as (
    select g.*
    from gaps as g
    cross join month_span as m
    where
        g.until_utc > g.late_utc
        and g.until_utc > m.from_utc
        and g.late_utc < m.until_utc
),
explained as (
    select
        g.account_key,
        g.path,
        g.from_utc,
        sum(
            epoch(least(g.until_utc, e.until_utc))
            - epoch(greatest(g.from_utc, e.from_utc))
        ) as excused_s,
        max(e.why) as why
    from mine as g
    inner join excuses as e
        on g.account_key = e.account_key and g.path = e.path
    where e.from_utc < g.until_utc and e.until_utc > g.from_utc
    group by g.account_key, g.path, g.from_utc
)
select
    g.account_key,
    g.path,
    g.seconds,
    g.from_utc,
    g.late_utc,
    g.until_utc,
    g.is_open,
    epoch(g.until_utc) - epoch(g.from_utc) - coalesce(x.excused_s, 0)
    > epoch(g.late_utc) - epoch(g.from_utc) as missed,
    coalesce(x.why, '') as why
from mine as g
left join explained as x
    on
        g.account_key = x.account_key
        and g.path = x.path
        and g.from_utc = x.from_utc
