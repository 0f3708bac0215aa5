-- purpose: silences longer than the supervision interval, one by one
-- grain:   one row per supervised path and gap that reaches into the window
-- reads:   requirements, paths, check_in, excuses
-- params:  $as_of, $from, $until timestamp [UTC]
-- returns: gap_s [s], excused_s [s] inside holes and on-test spans, missed
--          check-ins left after the excuse (0 = wholly excused)
with
supervised as (
    select r.account_key, r.path, r.seconds, r.grace_s
    from requirements as r
    inner join paths as p
        on r.account_key = p.account_key and r.path = p.path
    where r.what = 'supervision' and p.checks_in = 'yes'
),
-- Of the check-ins before the window only the last one opens a gap into it.
told as (
    select account_key, path, received_utc
    from check_in
    where received_utc >= $from
    union all
    select account_key, path, max(received_utc) as received_utc
    from check_in
    where received_utc < $from
    group by account_key, path
),
series as (
    select
        s.account_key,
        s.path,
        s.seconds,
        s.grace_s,
        c.received_utc,
        lead(c.received_utc) over (
            partition by s.account_key, s.path
            order by c.received_utc
        ) as next_utc
    from supervised as s
    inner join told as c
        on s.account_key = c.account_key and s.path = c.path
),
gaps as (
    select
        account_key,
        path,
        seconds,
        grace_s,
        received_utc as from_utc,
        coalesce(next_utc, $as_of) as until_utc,
        next_utc is null as is_open,
        epoch(coalesce(next_utc, $as_of)) - epoch(received_utc) as gap_s
    from series
    where coalesce(next_utc, $as_of) > $from and received_utc < $until
),
long_gaps as (
    select *
    from gaps
    where gap_s > seconds + grace_s
),
shared as (
    select
        g.account_key,
        g.path,
        g.from_utc,
        sum(
            epoch(least(g.until_utc, e.until_utc))
            - epoch(greatest(g.from_utc, e.from_utc))
        ) as excused_s
    from long_gaps as g
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
    g.until_utc,
    g.is_open,
    g.gap_s,
    coalesce(s.excused_s, 0) as excused_s,
    case
        when g.gap_s - coalesce(s.excused_s, 0) <= g.seconds + g.grace_s
            then 0
        else greatest(
            1, round((g.gap_s - coalesce(s.excused_s, 0)) / g.seconds) - 1
        )
    end as missed
from long_gaps as g
left join shared as s
    on
        g.account_key = s.account_key
        and g.path = s.path
        and g.from_utc = s.from_utc
order by g.account_key, g.path, g.from_utc
