-- purpose: signals from a partition that the roster does not know
-- grain:   one row per account and unlisted partition; one for partition 0
--          where all points report there though the roster lists several; else
--          one sound or not judged row per account
-- reads:   said, zones, accounts, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [signals in four
--          weeks]
-- Partition 0 means no partition in particular. A transmitter's own signals
-- are left out: they carry a fixed partition of their own.
with
parts as (
    select
        s.account_key,
        s.partition,
        sum(s.n) as n,
        sum(case
            when
                s.zone not in ('', '000')
                and s.event_class in (
                    'medical', 'fire', 'burglar', '24h-non-burglary',
                    'fire-supervisory', 'trouble-protection-loop'
                )
                then s.n
            else 0
        end) as n_points,
        max(s.n_days) as n_days,
        min(s.first_utc) as first_utc,
        max(s.last_utc) as last_utc
    from said as s
    inner join accounts as a on s.account_key = a.account_key
    where
        a.monitored
        and s.origin not in ('communicator', 'network')
        and s.partition <> ''
        and s.qualifier in ('E', 'R', 'P')
    group by s.account_key, s.partition
),
listed as (
    select account_key, partition, count(*) as n_rows
    from zones
    where
        partition not in ('', '0')
        and kind not in ('communicator', 'contact_input')
    group by account_key, partition
),
lists as (
    select account_key, count(*) as n_partitions
    from listed
    group by account_key
),
whole as (
    select
        p.account_key,
        sum(case when p.partition <> '0' then 1 else 0 end) as n_heard,
        sum(case when l.partition is not null then 1 else 0 end) as n_known,
        sum(p.n) as n,
        min(p.first_utc) as first_utc,
        max(p.last_utc) as last_utc
    from parts as p
    left join listed as l
        on p.account_key = l.account_key and p.partition = l.partition
    group by p.account_key
),
odd as (
    select
        p.account_key,
        p.partition,
        p.n,
        p.n_days,
        p.first_utc,
        p.last_utc,
        '' as reason
    from parts as p
    inner join lists as t on p.account_key = t.account_key
    left join listed as l
        on p.account_key = l.account_key and p.partition = l.partition
    where p.partition <> '0' and l.partition is null
    union all
    select
        p.account_key,
        p.partition,
        p.n_points as n,
        p.n_days,
        p.first_utc,
        p.last_utc,
        'every point reports without a partition, the roster lists several'
            as reason
    from parts as p
    inner join lists as t on p.account_key = t.account_key
    inner join whole as w on p.account_key = w.account_key
    where
        p.partition = '0'
        and t.n_partitions > 1
        and w.n_known = 0
        and p.n_points > 0
)
select
    o.account_key,
    'partition=' || o.partition as subject,
    case when o.n >= e.value then 'finding' else 'sound' end as verdict,
    case when o.n >= e.value then o.reason else 'few signals' end as reason,
    cast(o.n as double) as measured,
    e.value as limit_value,
    'signals' as unit,
    o.first_utc as since_utc,
    o.last_utc as until_utc,
    o.first_utc as evidence_from_utc,
    o.last_utc as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    o.n as evidence_count,
    0 as excused_count,
    case when o.n_days > 1 then 3 else 2 end as grade,
    o.n as k,
    w.n
from odd as o
inner join whole as w on o.account_key = w.account_key
inner join limits as e
    on o.account_key = e.account_key and e.name = 'signals'
union all
select
    w.account_key,
    '' as subject,
    case when t.account_key is null then 'not_judged' else 'sound' end
        as verdict,
    case
        when t.account_key is null then 'no partitions on the roster' else ''
    end as reason,
    cast(0 as double) as measured,
    e.value as limit_value,
    'signals' as unit,
    w.first_utc as since_utc,
    w.last_utc as until_utc,
    w.first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    0 as evidence_count,
    0 as excused_count,
    2 as grade,
    0 as k,
    w.n
from whole as w
inner join limits as e
    on w.account_key = e.account_key and e.name = 'signals'
left join lists as t on w.account_key = t.account_key
left join (select distinct account_key from odd) as o
    on w.account_key = o.account_key
where o.account_key is null and (w.n_heard > 0 or t.account_key is not null)
