-- purpose: alarms that do not say which point, or what kind of point
-- grain:   one row per monitored account with alarms of points in four weeks,
--          and one where points of several kinds all send the plain fire alarm
-- reads:   said, accounts, zones, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [alarms]; k of n
-- Panic and medical buttons may lack a number. A transmitter's dry contacts
-- never had one: they are looked at elsewhere. Aggravated where fire alarms
-- lack it.
with
alarmed as (
    select
        s.account_key,
        s.code,
        s.code_group,
        s.partition,
        s.zone,
        s.n,
        s.first_utc,
        s.last_utc
    from said as s
    inner join accounts as a on s.account_key = a.account_key
    where
        a.monitored
        and s.origin not in ('communicator', 'network')
        and s.qualifier = 'E'
        and s.event_class in (
            'fire', 'burglar', '24h-non-burglary', 'fire-supervisory'
        )
),
counted as (
    select
        account_key,
        sum(n) as n_alarms,
        coalesce(sum(n) filter (where zone in ('', '000')), 0) as n_bare,
        coalesce(sum(n) filter (
            where
                zone in ('', '000')
                and code_group in ('alarm_fire', 'supervisory')
        ), 0) as n_fire,
        min(first_utc) as first_any_utc,
        max(last_utc) as last_any_utc,
        min(first_utc) filter (where zone in ('', '000')) as first_utc,
        max(last_utc) filter (where zone in ('', '000')) as last_utc
    from alarmed
    group by account_key
),
generic as (
    select
        m.account_key,
        count(distinct z.kind) as n_kinds,
        count(distinct m.code) as n_codes,
        max(m.code) as code,
        count(distinct m.partition || '/' || m.zone) as n_points,
        sum(m.n) as n_alarms,
        min(m.first_utc) as first_utc,
        max(m.last_utc) as last_utc
    from alarmed as m
    inner join zones as z
        on
            m.account_key = z.account_key
            and m.partition = z.partition
            and m.zone = z.zone
    where
        m.code_group = 'alarm_fire'
        and z.kind in ('smoke', 'heat', 'pull', 'waterflow', 'duct', 'flame')
    group by m.account_key
)
select
    c.account_key,
    '' as subject,
    case
        when c.n_bare >= l.value then 'finding'
        else 'sound'
    end as verdict,
    case
        when c.n_bare >= l.value and c.n_bare = c.n_alarms
            then 'not one of them names its point'
        when c.n_bare >= l.value or c.n_bare = 0 then ''
        else 'few alarms without a point'
    end as reason,
    cast(c.n_bare as double) as measured,
    l.value as limit_value,
    'alarms' as unit,
    coalesce(c.first_utc, c.first_any_utc) as since_utc,
    coalesce(c.last_utc, c.last_any_utc) as until_utc,
    coalesce(c.first_utc, c.first_any_utc) as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    c.n_bare as evidence_count,
    0 as excused_count,
    case when c.n_bare >= 2 * l.value then 3 else 2 end as grade,
    c.n_bare as k,
    c.n_alarms as n,
    case when c.n_fire >= l.value then 1 else 0 end as aggravated
from counted as c
inner join limits as l
    on c.account_key = l.account_key and l.name = 'alarms'
union all
select
    g.account_key,
    'code=110' as subject,
    'finding' as verdict,
    'points of several kinds send the same code' as reason,
    cast(g.n_points as double) as measured,
    p.value as limit_value,
    'points' as unit,
    g.first_utc as since_utc,
    g.last_utc as until_utc,
    g.first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    g.n_alarms as evidence_count,
    0 as excused_count,
    2 as grade,
    g.n_alarms as k,
    g.n_alarms as n,
    0 as aggravated
from generic as g
inner join limits as p
    on g.account_key = p.account_key and p.name = 'points'
where
    g.n_kinds > 1
    and g.n_codes = 1
    and g.code = '110'
    and g.n_points >= p.value
