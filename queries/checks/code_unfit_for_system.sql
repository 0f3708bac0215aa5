-- purpose: events that do not fit the kind of system or of point on the roster
-- grain:   one row per account, code and, where the point's kind is at odds,
--          point; one sound row per account where nothing is
-- reads:   said, accounts, zones, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [signals in four
--          weeks]
-- A combined system may send anything; so may an unknown one, which is not
-- judged but for its points. Fire against burglary counts from the first alarm
-- on.
with
sent as (
    select
        s.account_key,
        a.system_type,
        s.code,
        s.code_group,
        s.partition,
        s.zone,
        sum(s.n) as n,
        max(s.n_days) as n_days,
        min(s.first_utc) as first_utc,
        max(s.last_utc) as last_utc
    from said as s
    inner join accounts as a on s.account_key = a.account_key
    where
        a.monitored
        and s.origin <> 'network'
        and s.qualifier in ('E', 'R')
        and (
            s.qualifier = 'E'
            and s.code_group in (
                'alarm_fire', 'alarm_medical', 'alarm_holdup',
                'alarm_burglary', 'alarm_other', 'supervisory'
            )
            or s.code_group = 'open_close'
        )
    group by
        s.account_key, a.system_type, s.code, s.code_group, s.partition, s.zone
),
point_kinds as (
    select
        account_key,
        partition,
        zone,
        max(case
            when
                kind in (
                    'smoke', 'heat', 'pull', 'waterflow', 'duct', 'flame'
                )
                then 1
            else 0
        end) as is_fire,
        max(case
            when
                kind in (
                    'entry', 'perimeter', 'interior', 'motion', 'glass', 'safe'
                )
                then 1
            else 0
        end) as is_burglary
    from zones
    where zone <> ''
    group by account_key, partition, zone
),
by_point as (
    select
        e.account_key,
        'code=' || e.code || ',zone=' || e.partition || '/' || e.zone
            as subject,
        'the roster calls this point one of another kind' as reason,
        1 as conflicts,
        sum(e.n) as n,
        max(e.n_days) as n_days,
        min(e.first_utc) as first_utc,
        max(e.last_utc) as last_utc
    from sent as e
    inner join point_kinds as p
        on
            e.account_key = p.account_key
            and e.partition = p.partition
            and e.zone = p.zone
    where
        (e.code_group = 'alarm_burglary' and p.is_fire = 1)
        or (e.code_group = 'alarm_fire' and p.is_burglary = 1)
    group by e.account_key, e.code, e.partition, e.zone
),
by_system as (
    select
        account_key,
        'code=' || code as subject,
        '' as reason,
        max(case
            when system_type = 'fire' and code_group = 'alarm_burglary' then 1
            when
                system_type <> 'fire'
                and code_group in ('alarm_fire', 'supervisory')
                then 1
            else 0
        end) as conflicts,
        sum(n) as n,
        max(n_days) as n_days,
        min(first_utc) as first_utc,
        max(last_utc) as last_utc
    from sent
    where
        (
            system_type = 'fire'
            and code_group in (
                'alarm_burglary', 'alarm_holdup', 'open_close'
            )
        )
        or (
            system_type in ('burglary', 'holdup', 'medical', 'environment')
            and code_group in ('alarm_fire', 'supervisory')
        )
        or (
            system_type in ('medical', 'environment')
            and code_group = 'alarm_burglary'
        )
        or (
            system_type = 'environment'
            and code_group in ('alarm_medical', 'alarm_holdup')
        )
    group by account_key, code
),
odd as (
    select s.account_key, s.subject, s.reason, s.conflicts, s.n, s.n_days,
        s.first_utc, s.last_utc
    from by_system as s
    union all
    select p.account_key, p.subject, p.reason, p.conflicts, p.n, p.n_days,
        p.first_utc, p.last_utc
    from by_point as p
    left join by_system as s
        on
            p.account_key = s.account_key
            and substring(p.subject, 1, 8) = s.subject
    where s.account_key is null
),
judged as (
    select
        o.*,
        case when o.conflicts = 1 then m.value else e.value end as limit_n
    from odd as o
    inner join limits as e
        on o.account_key = e.account_key and e.name = 'signals'
    inner join limits as m
        on o.account_key = m.account_key and m.name = 'alarms'
),
plain as (
    select
        e.account_key,
        max(case when e.system_type = '' then 1 else 0 end) as is_unknown,
        sum(e.n) as n,
        min(e.first_utc) as first_utc,
        max(e.last_utc) as last_utc
    from sent as e
    left join judged as j on e.account_key = j.account_key
    where j.account_key is null
    group by e.account_key
)
select
    account_key,
    subject,
    case when n >= limit_n then 'finding' else 'sound' end as verdict,
    case when n >= limit_n then reason else 'few signals' end as reason,
    cast(n as double) as measured,
    limit_n as limit_value,
    'signals' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    last_utc as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n as evidence_count,
    0 as excused_count,
    case when n = 1 then 1 when n_days > 1 then 3 else 2 end as grade,
    n as k,
    n,
    conflicts as aggravated
from judged
union all
select
    p.account_key,
    '' as subject,
    case when p.is_unknown = 1 then 'not_judged' else 'sound' end as verdict,
    case
        when p.is_unknown = 1 then 'no system type on the roster' else ''
    end as reason,
    cast(0 as double) as measured,
    l.value as limit_value,
    'signals' as unit,
    p.first_utc as since_utc,
    $until as until_utc,
    p.first_utc as evidence_from_utc,
    p.last_utc as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    0 as evidence_count,
    0 as excused_count,
    2 as grade,
    0 as k,
    p.n,
    0 as aggravated
from plain as p
inner join limits as l
    on p.account_key = l.account_key and l.name = 'alarms'
