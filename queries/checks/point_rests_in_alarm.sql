-- purpose: a point that stands in alarm when nothing happens, and restores
--          when it is used
-- grain:   one row per account, family, partition and zone that began and
--          restored in four weeks
-- reads:   episodes, accounts, excuses, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [% of the time since
--          its first beginning in four weeks]; k restores
with
spans as (
    select
        e.account_key,
        e.family,
        e.partition,
        e.zone,
        e.restored_utc,
        e.n_doubt,
        greatest(
            e.started_utc, cast($until as timestamp) - interval 28 day
        ) as from_utc,
        least(
            coalesce(e.restored_utc, cast($until as timestamp)),
            cast($until as timestamp)
        ) as until_utc
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    where
        a.monitored
        and e.zone not in ('', '000')
        and e.code_group in (
            'alarm_fire', 'alarm_burglary', 'alarm_other', 'supervisory'
        )
        and e.started_utc < $until
        and (
            e.restored_utc is null
            or e.restored_utc > $until - interval 28 day
        )
),
points as (
    select
        account_key,
        family,
        partition,
        zone,
        min(from_utc) as first_utc,
        max(from_utc) as last_utc,
        sum(epoch(until_utc) - epoch(from_utc)) as open_s,
        count(*) filter (
            where restored_utc is not null and restored_utc < $until
        ) as n_back,
        count(*) as n_began,
        max(restored_utc) as restored_utc,
        sum(n_doubt) as n_doubt
    from spans
    group by account_key, family, partition, zone
),
lacking as (
    select
        p.account_key,
        p.family,
        p.partition,
        p.zone,
        sum(
            epoch(least(x.until_utc, cast($until as timestamp)))
            - epoch(greatest(x.from_utc, p.first_utc))
        ) as lacking_s
    from points as p
    inner join excuses as x on p.account_key = x.account_key
    where
        x.path = ''
        and x.why <> 'on_test'
        and x.until_utc > p.first_utc
        and x.from_utc < $until
    group by p.account_key, p.family, p.partition, p.zone
),
judged as (
    select
        p.*,
        epoch(cast($until as timestamp)) - epoch(p.first_utc) as watched_s,
        100.0 * p.open_s
        / greatest(epoch(cast($until as timestamp)) - epoch(p.first_utc), 1)
            as percent,
        h.value as limit_percent,
        l.value as limit_n,
        d.value * 86400 as least_s,
        coalesce(k.lacking_s, 0) as lacking_s
    from points as p
    inner join limits as h
        on p.account_key = h.account_key and h.name = 'percent'
    inner join limits as l
        on p.account_key = l.account_key and l.name = 'restores'
    inner join limits as d
        on p.account_key = d.account_key and d.name = 'days'
    left join lacking as k
        on
            p.account_key = k.account_key
            and p.family = k.family
            and p.partition = k.partition
            and p.zone = k.zone
)
select
    account_key,
    'code=' || family || ',zone=' || partition || '/' || zone as subject,
    case
        when n_back < limit_n or percent <= limit_percent then 'sound'
        when watched_s < least_s then 'not_judged'
        when 10 * lacking_s > watched_s then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_back < limit_n then 'few restores'
        when percent <= limit_percent then ''
        when watched_s < least_s then 'watched for too short a time'
        when 10 * lacking_s > watched_s
            then 'restores may lie in hours that the log lacks'
        else ''
    end as reason,
    percent as measured,
    limit_percent as limit_value,
    '% of the time' as unit,
    first_utc as since_utc,
    $until as until_utc,
    first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    restored_utc as last_good_utc,
    n_began as evidence_count,
    0 as excused_count,
    case when n_back >= 2 * limit_n then 3 else 2 end as grade,
    n_back as k,
    n_began as n,
    case when family in ('110', '111', '112', '113', '114', '115', '118')
        then 1 else 0
    end as aggravated,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
