-- purpose: restores that come although nothing had begun
-- grain:   one row per account and family of codes restored in four weeks; one
--          of the whole account where only all families together show it
-- reads:   restores_alone, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [restores]; k alone
--          of n restores
-- A restore whose beginning follows within two minutes came by a faster way. A
-- panel that starts anew tells the state it finds: that needs no beginning.
-- Beginnings lost on the way are lost of every family alike, a few of each, and
-- restores are lost with them: of all that arrive, fewer then stand alone.
with
kept as (
    select *
    from restores_alone
    where
        code_group in (
            'alarm_fire', 'alarm_medical', 'alarm_holdup', 'alarm_burglary',
            'alarm_other', 'supervisory', 'tamper', 'trouble', 'supervision',
            'power', 'path'
        )
),
counted as (
    select
        account_key,
        family,
        sum(n_restores) as n_restores,
        sum(n_alone) as n_alone,
        sum(n_swapped) as n_swapped,
        sum(n_anew) as n_anew,
        sum(n_excused) as n_excused,
        count(*) as n_points,
        count(*) filter (where n_alone > 0) as n_points_alone,
        min(first_alone_utc) as first_utc,
        max(last_alone_utc) as last_utc
    from kept
    group by account_key, family
    union all
    select
        account_key,
        '' as family,
        sum(n_restores) as n_restores,
        sum(n_alone) as n_alone,
        sum(n_swapped) as n_swapped,
        sum(n_anew) as n_anew,
        sum(n_excused) as n_excused,
        count(*) as n_points,
        count(*) filter (where n_alone > 0) as n_points_alone,
        min(first_alone_utc) as first_utc,
        max(last_alone_utc) as last_utc
    from kept
    group by account_key
    having count(distinct family) > 1
),
limited as (
    select
        c.*,
        l.value as limit_n,
        h.value as limit_share,
        case
            when
                c.n_alone >= l.value
                and c.n_alone >= h.value * c.n_restores
                and (c.family <> '' or c.n_points_alone > 1)
                then 1
            else 0
        end as is_found
    from counted as c
    inner join limits as l
        on c.account_key = l.account_key and l.name = 'restores'
    inner join limits as h
        on
            c.account_key = h.account_key
            and h.name = case
                when c.family = '' then 'share_of_all' else 'share'
            end
),
by_family as (
    select account_key, max(is_found) as is_found
    from limited
    where family <> ''
    group by account_key
),
judged as (
    select l.*
    from limited as l
    inner join by_family as f on l.account_key = f.account_key
    where l.family <> '' or (l.is_found = 1 and f.is_found = 0)
)
select
    account_key,
    case when family = '' then '' else 'code=' || family end as subject,
    case
        when n_alone >= limit_n and n_alone >= limit_share * n_restores
            then 'finding'
        when n_alone < limit_n and n_alone + n_excused >= limit_n
            then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when
            n_alone >= limit_n and n_alone >= limit_share * n_restores
            and n_points_alone = 1
            then 'one point only: it may rest in alarm and restore when used'
        when n_alone >= limit_n and n_alone >= limit_share * n_restores
            then 'on several points: their beginnings may be lost on the way'
        when n_alone < limit_n and n_alone + n_excused >= limit_n
            then 'their beginnings may lie before the log or in its holes'
        when n_alone >= limit_n then 'few of many'
        when n_alone = 0 and n_swapped > 0 then 'they overtook the beginning'
        when n_alone = 0 and n_anew > 0 then 'told when the panel started anew'
        when n_alone = 0 then ''
        else 'few'
    end as reason,
    cast(n_alone as double) as measured,
    limit_n as limit_value,
    'restores' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_alone as evidence_count,
    n_excused as excused_count,
    case when n_alone >= 2 * limit_n then 3 else 2 end as grade,
    n_alone as k,
    n_restores as n
from judged
