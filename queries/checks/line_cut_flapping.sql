-- purpose: a telephone line that goes and comes back again and again
-- grain:   one row per account with a line fault in the window
-- reads:   episodes, on_test, excuses, shared_losses, accounts, limits
-- params:  $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [cuts in the window]
-- Cuts made while on test are a technician's, and cuts in an outage that many
-- accounts share are nobody's: neither is counted. Few cuts are
-- sound only if the same pace over the hours that the log lacks stays few.
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
        and e.family in ('351', '352')
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
cuts as (
    select
        b.account_key,
        count(*) filter (
            where t.n_spans is null and b.is_shared = 0
        ) as n_cuts,
        count(*) filter (
            where
            t.n_spans is null
            and b.is_shared = 0
            and b.restored_utc is not null
        ) as n_back,
        count(*) filter (
            where t.n_spans is not null or b.is_shared = 1
        ) as n_left_out,
        count(*) filter (where b.is_shared = 1) as n_shared,
        min(b.started_utc) as first_utc,
        max(b.started_utc) as last_utc,
        sum(b.n_doubt) as n_doubt
    from begun as b
    left join tried as t
        on
            b.account_key = t.account_key
            and b.family = t.family
            and b.partition = t.partition
            and b.zone = t.zone
            and b.started_utc = t.started_utc
    group by b.account_key
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
        and why not in ('on_test', 'area_power_outage', 'signal_storm')
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
    from cuts as c
    inner join limits as l
        on c.account_key = l.account_key and l.name = 'cuts'
    left join lacking as k on c.account_key = k.account_key
)
select
    account_key,
    '' as subject,
    case
        when n_cuts >= limit_n then 'finding'
        when n_cuts * window_s >= limit_n * (window_s - lacking_s)
            then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when n_cuts >= limit_n then ''
        when n_cuts * window_s >= limit_n * (window_s - lacking_s)
            then 'too much of the window is not in the log'
        when n_cuts = 0 and n_shared = n_left_out
            then 'only in an outage that many accounts share'
        when n_cuts = 0 then 'only while on test'
        else 'few cuts'
    end as reason,
    cast(n_cuts as double) as measured,
    limit_n as limit_value,
    'cuts' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_cuts as evidence_count,
    n_left_out as excused_count,
    case when n_cuts >= 3 * limit_n then 3 else 2 end as grade,
    n_back as k,
    n_cuts as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
