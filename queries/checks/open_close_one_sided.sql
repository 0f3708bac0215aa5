-- purpose: openings without closings, or closings without openings
-- grain:   one row per monitored account with openings or closings in four
--          weeks
-- reads:   said, accounts, excuses, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured [signals of the fuller side],
--          limit the least number of them; k of the emptier side, n of both
-- Every code that opens or closes counts, whoever did it: automatic closing or
-- a keyswitch may hold the other half. Exceptions (early, late) come alone by
-- nature and do not count. Where four weeks show both sides, the last two are
-- looked at alone: a side that went missing since would drown in the others.
with
told as (
    select
        s.account_key,
        case
            when
                s.qualifier = 'E'
                and s.code in (
                    '400', '401', '402', '403', '407', '409', '441', '442',
                    '456'
                )
                then 1
            else 0
        end as opens,
        case
            when
                s.qualifier = 'R'
                and s.code in (
                    '400', '401', '402', '403', '407', '409', '441', '442',
                    '456'
                )
                then 1
            when s.code in ('408', '443', '444', '463', '910', '911') then 1
            else 0
        end as closes,
        s.n,
        s.n_late,
        s.first_utc,
        s.first_late_utc,
        s.last_utc
    from said as s
    inner join accounts as a on s.account_key = a.account_key
    where
        a.monitored
        and a.sends_openings <> 'no'
        and s.qualifier in ('E', 'R')
        and s.code in (
            '400', '401', '402', '403', '407', '408', '409', '441', '442',
            '443', '444', '456', '463', '910', '911'
        )
),
counted as (
    select
        account_key,
        28 as span_d,
        sum(opens * n) as n_open,
        sum(closes * n) as n_close,
        min(first_utc) as first_utc,
        max(last_utc) as last_utc
    from told
    group by account_key
    union all
    select
        account_key,
        14 as span_d,
        sum(opens * n_late) as n_open,
        sum(closes * n_late) as n_close,
        min(first_late_utc) as first_utc,
        max(last_utc) as last_utc
    from told
    where n_late > 0
    group by account_key
),
lacking as (
    select
        c.account_key,
        c.span_d,
        sum(
            epoch(least(x.until_utc, cast($until as timestamp)))
            - greatest(
                epoch(x.from_utc),
                epoch(cast($until as timestamp)) - 86400 * c.span_d
            )
        ) as lacking_s
    from counted as c
    inner join excuses as x on c.account_key = x.account_key
    where
        x.path = ''
        and x.why <> 'on_test'
        and epoch(x.until_utc)
        > epoch(cast($until as timestamp)) - 86400 * c.span_d
        and x.from_utc < $until
    group by c.account_key, c.span_d
),
judged as (
    select
        c.*,
        greatest(c.n_open, c.n_close) as n_full,
        least(c.n_open, c.n_close) as n_bare,
        e.value as limit_n,
        h.value as limit_share,
        (epoch(c.last_utc) - epoch(c.first_utc)) / 86400 >= d.value
            as is_long,
        coalesce(k.lacking_s, 0) > 43200 * c.span_d as is_lacking
    from counted as c
    inner join limits as e
        on c.account_key = e.account_key and e.name = 'signals'
    inner join limits as d
        on c.account_key = d.account_key and d.name = 'days'
    inner join limits as h
        on c.account_key = h.account_key and h.name = 'share'
    left join lacking as k
        on c.account_key = k.account_key and c.span_d = k.span_d
),
chosen as (
    select *
    from judged
    qualify
        row_number() over (
            partition by account_key
            order by
                case
                    when
                        n_bare < limit_share * n_full
                        and n_full >= limit_n
                        and is_long
                        and not is_lacking
                        then 0
                    else 1
                end,
                span_d desc
        ) = 1
)
select
    account_key,
    '' as subject,
    case
        when n_bare >= limit_share * n_full then 'sound'
        when n_full < limit_n or not is_long then 'not_judged'
        when is_lacking then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_bare >= limit_share * n_full then ''
        when n_full < limit_n or not is_long then 'too few signals'
        when is_lacking then 'more than half of four weeks is not in the log'
        when n_open > n_close then 'closings are missing'
        else 'openings are missing'
    end as reason,
    cast(n_full as double) as measured,
    limit_n as limit_value,
    'signals' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_full + n_bare as evidence_count,
    0 as excused_count,
    case when n_bare = 0 then 3 else 2 end as grade,
    n_bare as k,
    n_full + n_bare as n
from chosen
