-- purpose: a supervised path that is lost and comes back again and again
-- grain:   one row per account with a reported loss in the window
-- reads:   episodes, excuses, accounts, limits
-- params:  $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [losses in the
--          window]
-- One loss told by two boxes (network and panel) overlaps and counts once;
-- reminders of one loss are folded in episodes. Long losses are left to
-- supervision_missed. What began inside an incident or on test is not the
-- site's. Few losses are sound only if the same pace over the hours that the
-- log lacks stays few.
with
begun as (
    select
        e.account_key,
        e.family,
        e.partition,
        e.zone,
        e.started_utc,
        e.restored_utc,
        e.n_doubt
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    where
        a.monitored
        and e.family in ('350', '353', '355', '356')
        and e.started_utc >= $from
        and e.started_utc < $until
),
shared as (
    select
        b.account_key,
        b.family,
        b.partition,
        b.zone,
        b.started_utc,
        count(*) as n_spans
    from begun as b
    inner join excuses as x
        on
            b.account_key = x.account_key
            and b.started_utc >= x.from_utc
            and b.started_utc < x.until_utc
    group by b.account_key, b.family, b.partition, b.zone, b.started_utc
),
own as (
    select
        b.account_key,
        b.started_utc,
        b.restored_utc,
        b.n_doubt,
        b.restored_utc is not null
        and epoch(b.restored_utc) - epoch(b.started_utc) <= s.value * 3600
            as is_short,
        x.n_spans is not null as is_shared,
        max(case when x.n_spans is null then b.restored_utc end) over (
            partition by b.account_key
            order by b.started_utc, b.restored_utc, b.family, b.zone
            rows between unbounded preceding and 1 preceding
        ) as covered_utc
    from begun as b
    inner join limits as s
        on b.account_key = s.account_key and s.name = 'short_h'
    left join shared as x
        on
            b.account_key = x.account_key
            and b.family = x.family
            and b.partition = x.partition
            and b.zone = x.zone
            and b.started_utc = x.started_utc
),
losses as (
    select
        account_key,
        count(*) filter (
            where
            is_short and not is_shared
            and (covered_utc is null or started_utc > covered_utc)
        ) as n_short,
        count(*) filter (
            where
            not is_shared
            and (covered_utc is null or started_utc > covered_utc)
        ) as n_lost,
        count(*) filter (where is_shared) as n_shared,
        min(started_utc) as first_utc,
        max(started_utc) as last_utc,
        sum(n_doubt) as n_doubt
    from own
    group by account_key
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
    from losses as c
    inner join limits as l
        on c.account_key = l.account_key and l.name = 'losses'
    left join lacking as k on c.account_key = k.account_key
)
select
    account_key,
    '' as subject,
    case
        when n_short >= limit_n then 'finding'
        when n_short * window_s >= limit_n * (window_s - lacking_s)
            then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when n_short >= limit_n then ''
        when n_short * window_s >= limit_n * (window_s - lacking_s)
            then 'too much of the window is not in the log'
        when n_lost = 0 then 'only while on test or in an incident'
        else 'few losses'
    end as reason,
    cast(n_short as double) as measured,
    limit_n as limit_value,
    'losses' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_lost as evidence_count,
    n_shared as excused_count,
    case when n_short >= 3 * limit_n then 3 else 2 end as grade,
    n_short as k,
    n_lost as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
