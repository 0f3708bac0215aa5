-- purpose: hours in which somebody seems to have tried the system point by
--          point
-- grain:   one row per monitored account and span of the last four weeks
-- reads:   edge, episodes, accounts, calendar, on_test
-- params:  $until timestamp [UTC]
-- returns: why mode (fire test 604 or walk test 607 was reported) or points:
--          five points or more began within half an hour of one another, from
--          6 to 20 h local time, Monday to Saturday, and half of them ended;
--          is_on_test whether on_test.csv knows of it
with
recent as (
    select
        e.account_key,
        e.received_utc,
        e.qualifier,
        e.partition || '/' || e.zone as point,
        e.source_id,
        e.line_no,
        epoch(e.received_utc) + c.offset_s as local_s,
        floor((epoch(e.received_utc) + c.offset_s) / 86400) as day_no
    from edge as e
    inner join accounts as a on e.account_key = a.account_key
    inner join calendar as c
        on e.received_utc >= c.from_utc and e.received_utc < c.until_utc
    where
        a.monitored
        and e.received_utc >= $until - interval 28 day
        and e.received_utc < $until
        and e.zone not in ('', '000')
        and e.code_group in (
            'alarm_fire', 'alarm_medical', 'alarm_holdup', 'alarm_burglary',
            'alarm_other', 'supervisory', 'tamper', 'trouble', 'supervision'
        )
),
many as (
    select account_key, day_no
    from recent
    where qualifier <> 'R'
    group by account_key, day_no
    having count(distinct point) >= 5
),
ordered as (
    select
        r.*,
        lag(r.received_utc) over (
            partition by r.account_key, r.day_no
            order by r.received_utc, r.source_id, r.line_no
        ) as before_utc
    from recent as r
    inner join many as m
        on r.account_key = m.account_key and r.day_no = m.day_no
),
marked as (
    select
        *,
        case
            when before_utc is null then 1
            when epoch(received_utc) - epoch(before_utc) > 1800 then 1
            else 0
        end as begins
    from ordered
),
numbered as (
    select
        *,
        sum(begins) over (
            partition by account_key, day_no
            order by received_utc, source_id, line_no
            rows between unbounded preceding and current row
        ) as run_no
    from marked
),
runs as (
    select
        account_key,
        day_no,
        run_no,
        min(received_utc) as from_utc,
        max(received_utc) as until_utc,
        count(distinct case when qualifier <> 'R' then point end) as n_points,
        count(*) as n_signals,
        sum(case when qualifier <> 'R' then 1 else 0 end) as n_began,
        sum(case when qualifier = 'R' then 1 else 0 end) as n_ended,
        min(local_s) - min(day_no) * 86400 as from_s,
        max(local_s) - min(day_no) * 86400 as until_s
    from numbered
    group by account_key, day_no, run_no
),
spans as (
    select account_key, from_utc, until_utc, 'points' as why, n_points,
        n_signals
    from runs
    where
        n_points >= 5
        and 2 * n_ended >= n_began
        and from_s >= 6 * 3600
        and until_s <= 20 * 3600
        and day_no + 3 - 7 * floor((day_no + 3) / 7) < 6
    union all
    select
        p.account_key,
        p.started_utc as from_utc,
        least(
            coalesce(p.restored_utc, cast($until as timestamp)),
            p.started_utc + interval 8 hour
        ) as until_utc,
        'mode' as why,
        0 as n_points,
        p.n_events as n_signals
    from episodes as p
    inner join accounts as a on p.account_key = a.account_key
    where
        a.monitored
        and p.family in ('604', '607')
        and p.started_utc >= $until - interval 28 day
        and p.started_utc < $until
)
select
    s.account_key,
    s.from_utc,
    s.until_utc,
    s.why,
    s.n_points,
    s.n_signals,
    count(t.from_utc) > 0 as is_on_test
from spans as s
left join on_test as t
    on
        s.account_key = t.account_key
        and t.from_utc <= s.until_utc
        and (t.until_utc is null or t.until_utc > s.from_utc)
group by
    s.account_key, s.from_utc, s.until_utc, s.why, s.n_points, s.n_signals
