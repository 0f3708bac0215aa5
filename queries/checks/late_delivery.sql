-- purpose: alarms arrive minutes after they were sent
-- grain:   one row per account with alarms whose way can be timed
-- reads:   stated_delays, contact_pairs, excuses, ranks_as, accounts, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [alarms in four
--          weeks]
-- Two clocks: the time that the message states, against what is usual for the
-- account; and the dry contact of an alarm, which needs no dialing, against the
-- captured message. What was on its way during an incident or on test is the
-- queue of that time and not counted.
with
timed as (
    select
        d.account_key,
        d.received_utc,
        d.code_group = 'alarm_fire' as is_fire,
        d.delay_s,
        s.value as limit_s,
        d.n_days >= n.value
        and d.spread_s * 2 <= s.value as is_sure
    from stated_delays as d
    inner join limits as s
        on d.account_key = s.account_key and s.name = 'delay_s'
    inner join limits as n
        on d.account_key = n.account_key and n.name = 'clock_days'
    union all
    select
        c.account_key,
        c.received_utc + cast(round(c.partner_s) as bigint) * interval 1 second
            as received_utc,
        c.kind = 'alarm' as is_fire,
        c.partner_s as delay_s,
        s.value as limit_s,
        true as is_sure
    from contact_pairs as c
    inner join limits as s
        on c.account_key = s.account_key and s.name = 'delay_s'
    where
        c.side = 'contact'
        and c.qualifier = 'E'
        and c.partner = 'fits'
        and c.kind in ('alarm', 'other_alarm')
        and c.received_utc >= $until - interval 28 day
        and c.received_utc < $until
),
excused as (
    select distinct t.account_key, t.received_utc, t.delay_s
    from timed as t
    inner join excuses as x on t.account_key = x.account_key
    where
        t.delay_s > t.limit_s
        and x.from_utc <= t.received_utc
        and epoch(x.until_utc) >= epoch(t.received_utc) - t.delay_s
),
counted as (
    select
        t.account_key,
        count(*) filter (where t.is_sure) as n_timed,
        count(*) filter (
            where t.is_sure and t.delay_s > t.limit_s
            and x.account_key is null
        ) as n_late,
        count(*) filter (
            where t.is_sure and t.delay_s > t.limit_s
            and x.account_key is null and t.is_fire
        ) as n_late_fire,
        count(x.account_key) as n_excused,
        count(*) filter (where not t.is_sure) as n_unsure,
        max(case
            when t.is_sure and x.account_key is null then t.delay_s
        end) as longest_s,
        min(case
            when
                t.is_sure and t.delay_s > t.limit_s
                and x.account_key is null
                then t.received_utc
        end) as first_utc,
        min(t.received_utc) as any_utc,
        max(t.received_utc) as last_utc
    from timed as t
    left join excused as x
        on
            t.account_key = x.account_key
            and t.received_utc = x.received_utc
            and t.delay_s = x.delay_s
    group by t.account_key
),
judged as (
    select
        c.*,
        l.value as limit_n,
        r.ranks_as in ('fire', 'combined') as is_fire_site
    from counted as c
    inner join accounts as a on c.account_key = a.account_key
    inner join limits as l
        on c.account_key = l.account_key and l.name = 'alarms'
    left join ranks_as as r on c.account_key = r.account_key
    where a.monitored
),
weighed as (
    select
        *,
        n_late >= limit_n
        or (coalesce(is_fire_site, false) and n_late_fire > 0) as is_late
    from judged
)
select
    account_key,
    '' as subject,
    case
        when is_late then 'finding'
        when n_timed = 0 then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when is_late then ''
        when n_timed = 0 then 'its own clock is not known well enough'
        when n_late > 0 then 'single alarms'
        when n_excused > 0 then 'only on test or in an incident'
        else ''
    end as reason,
    cast(n_late as double) as measured,
    case when n_late >= limit_n then limit_n else 1 end as limit_value,
    'alarms' as unit,
    coalesce(first_utc, any_utc) as since_utc,
    last_utc as until_utc,
    coalesce(first_utc, any_utc) as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_late as evidence_count,
    n_excused as excused_count,
    case
        when n_late < limit_n then 1
        when n_late >= 2 * limit_n then 3
        else 2
    end as grade,
    n_late as k,
    n_timed as n
from weighed
