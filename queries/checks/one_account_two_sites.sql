-- purpose: two sites that report under one number
-- grain:   one row per monitored account with two timers of one box at once
-- reads:   two_combs, clock_twins, accounts, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [cycles]
-- Two timers alone may be one site's. For two sites speaks: a line that is not
-- the account's, alarms of zones it does not have, or another account that fell
-- silent when the second timer began and whose clock goes on in it.
with
weighed as (
    select
        c.*,
        t.peer_key,
        c.stray_way
        + case when c.n_foreign_zones > 0 then 1 else 0 end
        + case when t.peer_key is null then 0 else 1 end as n_signs
    from two_combs as c
    inner join accounts as a on c.account_key = a.account_key
    left join clock_twins as t
        on c.account_key = t.account_key and c.origin = t.origin
    where a.monitored
),
chosen as (
    select *
    from weighed
    qualify
        row_number() over (
            partition by account_key order by n_signs desc, cycles desc, origin
        ) = 1
),
judged as (
    select c.*, l.value as least
    from chosen as c
    inner join limits as l
        on c.account_key = l.account_key and l.name = 'cycles'
)
select
    account_key,
    case when peer_key is null then '' else 'peer=' || peer_key end as subject,
    case
        when n_signs = 0 then 'sound'
        when cycles < least and peer_key is null then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_signs = 0 then 'two timers, one set of zones and lines'
        when cycles < least and peer_key is null
            then 'both timers for too short a time'
        when peer_key is not null
            then 'the clock of an account that fell silent goes on in it'
        when n_foreign_zones > 0 and stray_way = 1
            then 'zones and a line that are not its own'
        when n_foreign_zones > 0 then 'zones that are not its own'
        else 'a line that is not its own'
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
    case when n_signs >= 2 then 3 else 2 end as grade,
    n_b as k,
    n_a + n_b as n
from judged
