-- purpose: the roster leaves open what other checks need to know
-- grain:   one row per monitored account
-- reads:   accounts, paths, requirements, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured [missing entries]; the reason
--          names them
with
path_gaps as (
    select
        account_key,
        count(*) as n_paths,
        sum(case when receiver = '' then 1 else 0 end) as n_without_receiver,
        sum(case when kind = '' then 1 else 0 end) as n_without_kind
    from paths
    group by account_key
),
asked as (
    select account_key, count(*) as n_requirements
    from requirements
    where source in ('roster', 'edition')
    group by account_key
),
gaps as (
    select
        a.account_key,
        l.value as least,
        case when a.system_type = '' then ', system type' else '' end
            as no_type,
        case when p.account_key is null then ', paths' else '' end as no_paths,
        case
            when p.n_without_receiver > 0 then ', receiver of each path'
            else ''
        end as no_receiver,
        case when coalesce(p.n_without_kind, 0) > 0 then ', kind of path'
            else '' end as no_kind,
        case
            when p.account_key is not null and q.account_key is null
                then ', test or supervision interval'
            else ''
        end as no_interval,
        case when a.installed_on is null then ', install date' else '' end
            as no_date
    from accounts as a
    inner join limits as l
        on a.account_key = l.account_key and l.name = 'entries'
    left join path_gaps as p on a.account_key = p.account_key
    left join asked as q on a.account_key = q.account_key
    where a.monitored
),
counted as (
    select
        account_key,
        least,
        no_type || no_paths || no_receiver || no_kind || no_interval || no_date
            as missing,
        case when no_type <> '' then 1 else 0 end
        + case when no_paths <> '' then 1 else 0 end
        + case when no_receiver <> '' then 1 else 0 end
        + case when no_kind <> '' then 1 else 0 end
        + case when no_interval <> '' then 1 else 0 end
        + case when no_date <> '' then 1 else 0 end as n_missing
    from gaps
)
select
    account_key,
    '' as subject,
    case when n_missing >= least then 'finding' else 'sound' end as verdict,
    case
        when n_missing >= least then 'missing: ' || substr(missing, 3)
        else ''
    end as reason,
    cast(n_missing as double) as measured,
    least as limit_value,
    'entries' as unit,
    cast(null as timestamp) as since_utc,
    $as_of as until_utc,
    cast(null as timestamp) as evidence_from_utc,
    cast(null as timestamp) as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    0 as evidence_count,
    0 as excused_count,
    3 as grade,
    n_missing as k,
    6 as n
from counted
