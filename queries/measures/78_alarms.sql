-- purpose: the alarms of the last four weeks, one by one, resends folded
-- grain:   one row per alarm signal of an account
-- reads:   edge, calendar, on_test, inspections
-- params:  $until timestamp [UTC]
-- returns: hour_no the local hour counted from 1970, weekday 0 Monday to 6;
--          on_test_utc since when it was on test, null where it was not;
--          in_inspection whether the signals look like one (see inspections)
with
recent as (
    select
        e.account_key,
        e.received_utc,
        e.code,
        e.family,
        e.code_group,
        e.partition,
        e.zone,
        e.path,
        e.origin,
        e.format,
        e.time_doubt,
        e.source_id,
        e.line_no,
        floor((epoch(e.received_utc) + c.offset_s) / 3600) as hour_no,
        floor((epoch(e.received_utc) + c.offset_s) / 86400) as day_no
    from edge as e
    inner join calendar as c
        on e.received_utc >= c.from_utc and e.received_utc < c.until_utc
    where
        e.received_utc >= $until - interval 28 day
        and e.received_utc < $until
        and e.qualifier = 'E'
        and e.code_group in (
            'alarm_fire', 'alarm_medical', 'alarm_holdup', 'alarm_burglary',
            'alarm_other'
        )
),
tried as (
    select
        r.account_key,
        r.source_id,
        r.line_no,
        min(t.from_utc) as on_test_utc
    from recent as r
    inner join on_test as t
        on
            r.account_key = t.account_key
            and r.received_utc >= t.from_utc
            and (t.until_utc is null or r.received_utc < t.until_utc)
    group by r.account_key, r.source_id, r.line_no
),
walked as (
    select distinct r.account_key, r.source_id, r.line_no
    from recent as r
    inner join inspections as i
        on
            r.account_key = i.account_key
            and r.received_utc >= i.from_utc
            and r.received_utc <= i.until_utc
)
select
    r.account_key,
    r.received_utc,
    r.code,
    r.family,
    r.code_group,
    r.partition,
    r.zone,
    r.path,
    r.origin,
    r.format,
    r.time_doubt,
    r.hour_no,
    r.day_no + 3 - 7 * floor((r.day_no + 3) / 7) as weekday,
    t.on_test_utc,
    w.account_key is not null as in_inspection,
    r.source_id,
    r.line_no
from recent as r
left join tried as t
    on
        r.account_key = t.account_key
        and r.source_id = t.source_id
        and r.line_no = t.line_no
left join walked as w
    on
        r.account_key = w.account_key
        and r.source_id = w.source_id
        and r.line_no = w.line_no
