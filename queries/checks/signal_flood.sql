-- purpose: an account that floods the receiver with signals
-- grain:   one row per account with a run of signals in the window
-- reads:   bursts, accounts, on_test, inspections, heard, limits
-- params:  $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [signals in a row,
--          none half an hour after the one before]; k such runs of n
-- A run counts only if it is as fast on average as the limit says. Runs that
-- begin on test or in what looks like an inspection are a technician's; so are
-- those to which one signal in the half hour before was joined, where five or
-- more points took turns, none of them often. Numbers that are not on the
-- roster are looked at too: they block lines as well.
with
judged as (
    select
        b.account_key,
        b.first_utc,
        b.last_utc,
        b.n,
        b.n_resend,
        s.value as limit_n,
        r.value as rate_h,
        m.value as rate_min,
        (epoch(b.last_utc) - epoch(b.first_utc)) / 3600 as long_h,
        t.n_spans is not null as is_tried
    from bursts as b
    inner join heard as h on b.account_key = h.account_key
    left join accounts as a on b.account_key = a.account_key
    inner join limits as s
        on b.account_key = s.account_key and s.name = 'signals'
    inner join limits as r
        on b.account_key = r.account_key and r.name = 'an_hour'
    inner join limits as m
        on b.account_key = m.account_key and m.name = 'a_minute'
    left join (
        select x.account_key, x.first_utc, count(*) as n_spans
        from bursts as x
        inner join (
            select account_key, from_utc, until_utc from on_test
            union all
            select account_key, from_utc, until_utc from inspections
        ) as y
            on
                x.account_key = y.account_key
                and epoch(x.first_utc) >= epoch(y.from_utc) - case
                    when x.n_points >= 5 and x.n <= 4 * x.n_points then 1800
                    else 0
                end
                and (y.until_utc is null or x.first_utc <= y.until_utc)
        group by x.account_key, x.first_utc
    ) as t
        on b.account_key = t.account_key and b.first_utc = t.first_utc
    where
        (a.account_key is null or a.monitored)
        and b.last_utc >= $from
        and b.first_utc < $until
),
marked as (
    select
        *,
        case
            when is_tried then 0
            when n >= limit_n and n >= rate_h * long_h then 1
            else 0
        end as is_flood,
        case when n >= rate_min * 60 * long_h then 1 else 0 end as is_fast
    from judged
),
summed as (
    select
        account_key,
        min(limit_n) as limit_n,
        sum(is_flood) as n_floods,
        count(*) as n_runs,
        sum(case when is_tried then 1 else 0 end) as n_tried,
        max(case when is_flood = 1 then n end) as n_flood,
        max(case when not is_tried then n end) as n_most,
        sum(case when is_flood = 1 then n else 0 end) as n_signals,
        max(is_flood * is_fast) as is_fast,
        min(case when is_flood = 1 then first_utc end) as first_flood_utc,
        max(case when is_flood = 1 then last_utc end) as last_flood_utc,
        min(first_utc) as first_utc,
        max(last_utc) as last_utc
    from marked
    group by account_key
)
select
    account_key,
    '' as subject,
    case when n_floods > 0 then 'finding' else 'sound' end as verdict,
    case
        when n_floods > 0 then ''
        when n_most is null then 'only on test or in an inspection'
        when n_most >= limit_n then 'many signals, slowly'
        else 'few signals in a row'
    end as reason,
    cast(coalesce(n_flood, n_most, 0) as double) as measured,
    limit_n as limit_value,
    'signals' as unit,
    coalesce(first_flood_utc, first_utc) as since_utc,
    coalesce(last_flood_utc, last_utc) as until_utc,
    coalesce(first_flood_utc, first_utc) as evidence_from_utc,
    coalesce(last_flood_utc, last_utc) as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_signals as evidence_count,
    0 as excused_count,
    case when n_flood >= 3 * limit_n then 3 else 2 end as grade,
    n_floods as k,
    n_runs as n,
    is_fast as aggravated
from summed
