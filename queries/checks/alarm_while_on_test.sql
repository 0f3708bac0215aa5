-- purpose: alarms while on test that do not look like the technician's
-- grain:   one row per account on test within the window
-- reads:   on_test, accounts, alarms, excuses, limits
-- params:  $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured [alarms]; k of n alarms on
--          test
-- Odd is an alarm at night or on a Sunday, or one that stands alone hours
-- after the test began and after the last alarm before it. Technicians work by
-- day and try point after point.
with
spans as (
    select
        t.account_key,
        min(t.from_utc) as from_utc,
        max(coalesce(t.until_utc, cast($until as timestamp))) as until_utc,
        count(*) as n_spans
    from on_test as t
    inner join accounts as a on t.account_key = a.account_key
    where
        a.monitored
        and t.from_utc < $until
        and (t.until_utc is null or t.until_utc > $from)
    group by t.account_key
),
lacking as (
    select s.account_key, count(*) as n_holes
    from spans as s
    inner join on_test as t on s.account_key = t.account_key
    inner join excuses as x
        on
            s.account_key = x.account_key
            and x.path = ''
            and x.why <> 'on_test'
            and x.until_utc > greatest(t.from_utc, cast($from as timestamp))
            and x.from_utc
            < coalesce(t.until_utc, cast($until as timestamp))
    where t.until_utc is null or t.until_utc > $from
    group by s.account_key
),
steps as (
    select
        m.*,
        lag(m.received_utc) over (
            partition by m.account_key
            order by m.received_utc, m.source_id, m.line_no
        ) as before_utc
    from alarms as m
    inner join spans as s on m.account_key = s.account_key
    where m.on_test_utc is not null
),
marked as (
    select
        s.account_key,
        s.received_utc,
        s.code_group,
        s.time_doubt,
        case
            when s.weekday = 6 then 'hours'
            when s.hour_no - 24 * floor(s.hour_no / 24) < b.value then 'hours'
            when s.hour_no - 24 * floor(s.hour_no / 24) >= e.value
                then 'hours'
            when
                epoch(s.received_utc)
                - epoch(greatest(
                    s.on_test_utc, coalesce(s.before_utc, s.on_test_utc)
                )) > q.value * 3600
                then 'alone'
            else ''
        end as oddity
    from steps as s
    inner join limits as b
        on s.account_key = b.account_key and b.name = 'from_hour'
    inner join limits as e
        on s.account_key = e.account_key and e.name = 'until_hour'
    inner join limits as q
        on s.account_key = q.account_key and q.name = 'quiet_h'
    where s.received_utc >= $from and s.received_utc < $until
),
counted as (
    select
        account_key,
        count(*) as n_alarms,
        sum(case when oddity <> '' then 1 else 0 end) as n_odd,
        sum(case when oddity = 'hours' then 1 else 0 end) as n_hours,
        max(case
            when
                oddity <> ''
                and code_group in (
                    'alarm_fire', 'alarm_medical', 'alarm_holdup'
                )
                then 1
            else 0
        end) as for_life,
        min(case when oddity <> '' then received_utc end) as first_utc,
        max(case when oddity <> '' then received_utc end) as last_utc,
        sum(case when time_doubt <> 'exact' then 1 else 0 end) as n_doubt
    from marked
    group by account_key
)
select
    s.account_key,
    '' as subject,
    case
        when c.n_odd >= l.value then 'finding'
        when k.n_holes > 0 then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when c.n_odd >= l.value and c.n_hours > 0
            then 'at night or on a Sunday'
        when c.n_odd >= l.value then 'alone, hours after the one before'
        when k.n_holes > 0 then 'the log lacks hours of the time on test'
        when c.n_alarms > 0 then 'by day, point after point'
        else 'no alarm while on test'
    end as reason,
    cast(coalesce(c.n_odd, 0) as double) as measured,
    l.value as limit_value,
    'alarms' as unit,
    coalesce(c.first_utc, s.from_utc) as since_utc,
    coalesce(c.last_utc, s.until_utc) as until_utc,
    coalesce(c.first_utc, s.from_utc) as evidence_from_utc,
    coalesce(c.last_utc, s.until_utc) as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    coalesce(c.n_odd, 0) as evidence_count,
    0 as excused_count,
    case when c.n_hours > 0 then 3 else 1 end as grade,
    coalesce(c.n_odd, 0) as k,
    coalesce(c.n_alarms, 0) as n,
    coalesce(c.for_life, 0) as aggravated,
    case when c.n_doubt > 0 then 1 else 0 end as doubtful
from spans as s
inner join limits as l
    on s.account_key = l.account_key and l.name = 'alarms'
left join counted as c on s.account_key = c.account_key
left join lacking as k on s.account_key = k.account_key
