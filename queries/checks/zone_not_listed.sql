-- purpose: points that report and are not in the account's zone list
-- grain:   one row per monitored account that reported by point in four weeks
-- reads:   said, zones, accounts, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [signals, or alarms
--          where there was one]; k unlisted points of n heard
-- Only codes that carry a point: modules, keypads and users have numbers of
-- their own, and so has a transmitter. Partitions have a check of their own.
with
heard_points as (
    select
        s.account_key,
        s.zone,
        sum(s.n) as n,
        sum(case when s.code_group like 'alarm_%' then s.n else 0 end)
            as n_alarms,
        min(s.first_utc) as first_utc,
        max(s.last_utc) as last_utc
    from said as s
    inner join accounts as a on s.account_key = a.account_key
    where
        a.monitored
        and s.origin not in ('communicator', 'network')
        and s.qualifier in ('E', 'P')
        and s.zone not in ('', '000')
        and (
            s.event_class in (
                'medical', 'fire', 'panic', 'burglar', '24h-non-burglary',
                'fire-supervisory', 'trouble-protection-loop', 'bypass'
            )
            or s.code in (
                '140', '144', '146', '147', '380', '381', '383', '385', '386',
                '387', '388', '389', '391', '392', '393', '394'
            )
        )
        and s.code not in ('121', '126', '137', '574')
    group by s.account_key, s.zone
),
listed as (
    select account_key, zone, count(*) as n_rows
    from zones
    where kind <> 'user' and zone <> ''
    group by account_key, zone
),
lists as (
    select account_key, count(*) as n_rows
    from zones
    where kind not in ('user', 'communicator', 'contact_input')
    group by account_key
),
counted as (
    select
        h.account_key,
        count(*) as n_points,
        count(*) filter (where l.zone is null) as n_unlisted,
        coalesce(sum(h.n) filter (where l.zone is null), 0) as n_signals,
        coalesce(sum(h.n_alarms) filter (where l.zone is null), 0)
            as n_alarms,
        min(h.first_utc) filter (where l.zone is null) as first_utc,
        max(h.last_utc) filter (where l.zone is null) as last_utc,
        min(h.first_utc) as first_any_utc,
        max(h.last_utc) as last_any_utc
    from heard_points as h
    left join listed as l
        on h.account_key = l.account_key and h.zone = l.zone
    group by h.account_key
),
judged as (
    select
        c.*,
        e.value as limit_n,
        m.value as limit_alarms,
        t.account_key is not null as has_list,
        c.n_alarms >= m.value or c.n_signals >= e.value as is_over
    from counted as c
    inner join limits as e
        on c.account_key = e.account_key and e.name = 'signals'
    inner join limits as m
        on c.account_key = m.account_key and m.name = 'alarms'
    left join lists as t on c.account_key = t.account_key
)
select
    account_key,
    '' as subject,
    case
        when not has_list then 'not_judged'
        when is_over then 'finding'
        else 'sound'
    end as verdict,
    case
        when not has_list then 'no zone list on the roster'
        when is_over and n_unlisted = n_points and n_points >= 3
            then 'not one point heard is on the list'
        when is_over or n_unlisted = 0 then ''
        else 'few signals'
    end as reason,
    cast(
        case when n_alarms >= limit_alarms then n_alarms else n_signals end
        as double
    ) as measured,
    case when n_alarms >= limit_alarms then limit_alarms else limit_n end
        as limit_value,
    case when n_alarms >= limit_alarms then 'alarms' else 'signals' end
        as unit,
    coalesce(first_utc, first_any_utc) as since_utc,
    coalesce(last_utc, last_any_utc) as until_utc,
    coalesce(first_utc, first_any_utc) as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_signals as evidence_count,
    0 as excused_count,
    case when n_signals >= 3 then 3 when n_signals = 2 then 2 else 1 end
        as grade,
    n_unlisted as k,
    n_points as n,
    case when n_alarms >= limit_alarms then 1 else 0 end as aggravated
from judged
