-- purpose: one box that tests by two timers
-- grain:   one row per monitored account and origin with two timers at once
-- reads:   two_combs, clock_twins, accounts, paths, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [cycles]
-- Panel and transmitter each with a test, or one test on each path, are sound.
-- Where the log does not tell the boxes apart, only a site with nothing but
-- telephone paths surely has one.
with
other_ways as (
    select distinct account_key from paths where kind <> 'phone'
),
listed_ways as (
    select distinct account_key from paths
),
weighed as (
    select
        c.*,
        l.value as least,
        c.path_a <> c.path_b as is_per_path,
        c.origin = 'unknown'
        and (o.account_key is not null or w.account_key is null) as is_untold,
        c.stray_way + c.n_foreign_zones > 0
        or t.account_key is not null as is_shared
    from two_combs as c
    inner join accounts as a on c.account_key = a.account_key
    inner join limits as l
        on c.account_key = l.account_key and l.name = 'cycles'
    left join other_ways as o on c.account_key = o.account_key
    left join listed_ways as w on c.account_key = w.account_key
    left join clock_twins as t
        on c.account_key = t.account_key and c.origin = t.origin
    where a.monitored
)
select
    account_key,
    'origin=' || origin as subject,
    case
        when is_per_path then 'sound'
        when is_shared or is_untold then 'not_judged'
        when cycles < least then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when is_per_path then 'one timer on each path'
        when is_shared then 'it may be two sites under one number'
        when is_untold then 'origin not told apart'
        when cycles < least then 'both timers for too short a time'
        else ''
    end as reason,
    cast(cycles as double) as measured,
    least as limit_value,
    'cycles' as unit,
    from_utc as since_utc,
    until_utc,
    from_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_a + n_b as evidence_count,
    0 as excused_count,
    case when cycles >= 2 * least then 3 else 2 end as grade,
    n_b as k,
    n_a + n_b as n
from weighed
