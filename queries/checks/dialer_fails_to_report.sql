-- purpose: the site says itself that its messages did not get through
-- grain:   one row per account with a report of failed communication
-- reads:   episodes, excuses, accounts, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [reports in four
--          weeks]
-- 354 failure to communicate, 358 periodic communication test failed. What was
-- reported inside an incident or a span on test, or within a day after it, is
-- not counted: a dialer tells its failures with its next successful call.
with
told as (
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
        and e.family in ('354', '358')
        and e.started_utc >= $until - interval 28 day
        and e.started_utc < $until
),
shared as (
    select
        t.account_key,
        t.family,
        t.partition,
        t.zone,
        t.started_utc,
        count(*) as n_spans
    from told as t
    inner join limits as g
        on t.account_key = g.account_key and g.name = 'after_h'
    inner join excuses as x
        on
            t.account_key = x.account_key
            and t.started_utc >= x.from_utc
            and epoch(t.started_utc) < epoch(x.until_utc) + g.value * 3600
    group by t.account_key, t.family, t.partition, t.zone, t.started_utc
),
counted as (
    select
        t.account_key,
        count(*) filter (where s.n_spans is null) as n_own,
        count(distinct case
            when s.n_spans is null then date_trunc('day', t.started_utc)
        end) as days,
        count(s.n_spans) as n_shared,
        count(*) filter (
            where s.n_spans is null and t.restored_utc is null
        ) as n_open,
        coalesce(
            min(case when s.n_spans is null then t.started_utc end),
            min(t.started_utc)
        ) as first_utc,
        max(t.started_utc) as last_utc,
        sum(t.n_doubt) as n_doubt
    from told as t
    left join shared as s
        on
            t.account_key = s.account_key
            and t.family = s.family
            and t.partition = s.partition
            and t.zone = s.zone
            and t.started_utc = s.started_utc
    group by t.account_key
),
lacking as (
    select
        account_key,
        sum(
            epoch(least(until_utc, cast($until as timestamp)))
            - epoch(greatest(from_utc, $until - interval 28 day))
        ) as lacking_s
    from excuses
    where
        path = ''
        and why <> 'on_test'
        and until_utc > $until - interval 28 day
        and from_utc < $until
    group by account_key
),
judged as (
    select
        c.*,
        l.value as limit_n,
        d.value as limit_days,
        28 * 86400 as whole_s,
        coalesce(k.lacking_s, 0) as lacking_s
    from counted as c
    inner join limits as l
        on c.account_key = l.account_key and l.name = 'reports'
    inner join limits as d
        on c.account_key = d.account_key and d.name = 'days'
    left join lacking as k on c.account_key = k.account_key
)
select
    account_key,
    '' as subject,
    case
        when n_own >= limit_n and days >= limit_days then 'finding'
        when
            n_own > 0 and n_own < limit_n
            and n_own * whole_s >= limit_n * (whole_s - lacking_s)
            then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when n_own >= limit_n and days >= limit_days then ''
        when n_own >= limit_n then 'all on one day'
        when
            n_own > 0
            and n_own * whole_s >= limit_n * (whole_s - lacking_s)
            then 'too many of these hours are not in the log'
        when n_own = 0 then 'only while on test or around an incident'
        else 'few reports'
    end as reason,
    cast(n_own as double) as measured,
    limit_n as limit_value,
    'reports' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_own as evidence_count,
    n_shared as excused_count,
    case when n_own >= 3 * limit_n then 3 else 2 end as grade,
    n_open as k,
    n_own as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
