-- purpose: a trouble that comes and goes again and again
-- grain:   one row per account, family, partition and zone with a trouble or
--          tamper that began in the window
-- reads:   episodes, on_test, excuses, shared_losses, accounts, limits
-- params:  $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [times in the
--          window]; k of them restored
-- Counted are beginnings with a restore between: reminders of one trouble are
-- one. What came on test, or in an outage that many accounts share, is left
-- out. Few are sound only if the same pace over the hours that the log lacks
-- stays few. Ground faults, batteries and wireless sensors have checks of their
-- own.
with
begun as (
    select
        e.account_key,
        e.family,
        e.partition,
        e.zone,
        e.started_utc,
        e.restored_utc,
        e.n_doubt,
        case when s.account_key is null then 0 else 1 end as is_shared
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    left join shared_losses as s
        on
            e.account_key = s.account_key
            and e.family = s.family
            and e.partition = s.partition
            and e.zone = s.zone
            and e.started_utc = s.started_utc
    where
        a.monitored
        and (
            e.code_group in ('trouble', 'tamper')
            or e.family in ('308', '312', '337')
        )
        and e.started_utc >= $from
        and e.started_utc < $until
),
tried as (
    select
        b.account_key,
        b.family,
        b.partition,
        b.zone,
        b.started_utc,
        count(*) as n_spans
    from begun as b
    inner join on_test as t
        on
            b.account_key = t.account_key
            and b.started_utc >= t.from_utc
            and (t.until_utc is null or b.started_utc < t.until_utc)
    group by b.account_key, b.family, b.partition, b.zone, b.started_utc
),
counted as (
    select
        b.account_key,
        b.family,
        b.partition,
        b.zone,
        count(*) filter (
            where t.n_spans is null and b.is_shared = 0
        ) as n_times,
        count(*) filter (
            where
            t.n_spans is null
            and b.is_shared = 0
            and b.restored_utc is not null
        ) as n_back,
        count(*) filter (
            where t.n_spans is not null or b.is_shared = 1
        ) as n_left_out,
        min(b.started_utc) as first_utc,
        max(b.started_utc) as last_utc,
        max(b.restored_utc) as restored_utc,
        sum(b.n_doubt) as n_doubt
    from begun as b
    left join tried as t
        on
            b.account_key = t.account_key
            and b.family = t.family
            and b.partition = t.partition
            and b.zone = t.zone
            and b.started_utc = t.started_utc
    group by b.account_key, b.family, b.partition, b.zone
),
lacking as (
    select
        account_key,
        sum(
            epoch(least(until_utc, cast($until as timestamp)))
            - epoch(greatest(from_utc, cast($from as timestamp)))
        ) as lacking_s
    from excuses
    where
        path = ''
        and why <> 'on_test'
        and until_utc > $from
        and from_utc < $until
    group by account_key
),
judged as (
    select
        c.*,
        l.value as limit_n,
        epoch(cast($until as timestamp)) - epoch(cast($from as timestamp))
            as window_s,
        coalesce(k.lacking_s, 0) as lacking_s
    from counted as c
    inner join limits as l
        on c.account_key = l.account_key and l.name = 'times'
    left join lacking as k on c.account_key = k.account_key
)
select
    account_key,
    'code=' || family || ',zone=' || partition || '/' || zone as subject,
    case
        when n_times >= limit_n then 'finding'
        when n_times * window_s >= limit_n * (window_s - lacking_s)
            then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when n_times >= limit_n then ''
        when n_times * window_s >= limit_n * (window_s - lacking_s)
            then 'too much of the window is not in the log'
        when n_times = 0 then 'only while on test or in an incident'
        else 'seldom'
    end as reason,
    cast(n_times as double) as measured,
    limit_n as limit_value,
    'times' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    restored_utc as last_good_utc,
    n_times as evidence_count,
    n_left_out as excused_count,
    case when n_times >= 3 * limit_n then 3 else 2 end as grade,
    n_back as k,
    n_times as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
