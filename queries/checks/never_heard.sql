-- purpose: on the roster, in service, and never heard
-- grain:   one row per monitored account
-- reads:   accounts, heard, requirements, excuses, station, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- The clock starts at the install date, not at the first signal, and not
-- before the log: nobody can say what came before it.
with
service as (
    select
        a.account_key,
        greatest(
            coalesce(cast(a.installed_on as timestamp), s.data_first_utc),
            s.data_first_utc
        ) as start_utc
    from accounts as a
    cross join station as s
    where a.monitored
),
tightest as (
    select
        account_key,
        min(seconds + grace_s) as limit_s,
        max(case when source = 'inferred' then 1 else 0 end) as inferred
    from requirements
    group by account_key
),
unheard as (
    select
        e.account_key,
        sum(
            epoch(least(e.until_utc, $as_of))
            - epoch(greatest(e.from_utc, v.start_utc))
        ) as hidden_s
    from excuses as e
    inner join service as v on e.account_key = v.account_key
    where
        e.path = ''
        and e.why <> 'on_test'
        and e.until_utc > v.start_utc
        and e.from_utc < $as_of
    group by e.account_key
),
clocked as (
    select
        v.account_key,
        v.start_utc,
        h.first_utc,
        coalesce(t.limit_s, l.value * 3600) as limit_s,
        coalesce(u.hidden_s, 0) as hidden_s,
        epoch($as_of) - epoch(v.start_utc) - coalesce(u.hidden_s, 0) as open_s
    from service as v
    inner join limits as l
        on v.account_key = l.account_key and l.name = 'first_signal_h'
    left join heard as h on v.account_key = h.account_key
    left join tightest as t on v.account_key = t.account_key
    left join unheard as u on v.account_key = u.account_key
)
select
    account_key,
    '' as subject,
    case
        when first_utc is not null then 'sound'
        when open_s > limit_s then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when first_utc is not null then ''
        when open_s > limit_s then ''
        when hidden_s > 0 then 'log of its receiver lines is missing'
        else 'in service for too short a time'
    end as reason,
    open_s / 3600 as measured,
    limit_s / 3600 as limit_value,
    'h' as unit,
    start_utc as since_utc,
    $as_of as until_utc,
    start_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    0 as evidence_count,
    case when hidden_s > 0 then 1 else 0 end as excused_count,
    case when open_s > 7 * 86400 then 3 else 2 end as grade,
    0 as k,
    0 as n
from clocked
