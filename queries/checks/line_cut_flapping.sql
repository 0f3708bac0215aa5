-- purpose: a telephone line that goes and comes back again and again
-- grain:   one row per account with a line fault in the window
-- reads:   episodes, accounts, limits
-- params:  $from, $until, $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [cuts in the window]
with
cuts as (
    select
        e.account_key,
        count(*) as n_cuts,
        count(*) filter (where e.restored_utc is not null) as n_back,
        min(e.started_utc) as first_utc,
        max(e.started_utc) as last_utc,
        sum(e.n_doubt) as n_doubt
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    where
        a.monitored
        and e.family in ('351', '352')
        and e.started_utc >= $from
        and e.started_utc < $until
    group by e.account_key
)
select
    c.account_key,
    '' as subject,
    case when c.n_cuts >= l.value then 'finding' else 'sound' end as verdict,
    case when c.n_cuts >= l.value then '' else 'few cuts' end as reason,
    cast(c.n_cuts as double) as measured,
    l.value as limit_value,
    'cuts' as unit,
    c.first_utc as since_utc,
    c.last_utc as until_utc,
    c.first_utc as evidence_from_utc,
    c.last_utc as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    c.n_cuts as evidence_count,
    0 as excused_count,
    case when c.n_cuts >= 3 * l.value then 3 else 2 end as grade,
    c.n_back as k,
    c.n_cuts as n,
    case when c.n_doubt > 0 then 1 else 0 end as doubtful
from cuts as c
inner join limits as l
    on c.account_key = l.account_key and l.name = 'cuts'
