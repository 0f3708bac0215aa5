-- purpose: an account left on test
-- grain:   one row per account with an on-test span that reaches into the window
-- reads:   on_test, accounts, limits
-- params:  $as_of, $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
with
spans as (
    select
        t.account_key,
        t.from_utc,
        t.until_utc,
        (epoch(coalesce(t.until_utc, $as_of)) - epoch(t.from_utc)) / 3600
            as on_test_h
    from on_test as t
    inner join accounts as a on t.account_key = a.account_key
    where
        a.monitored
        and t.from_utc < $as_of
        and coalesce(t.until_utc, $as_of) > $from
        and t.from_utc < $until
),
longest as (
    select
        account_key,
        max(on_test_h) as on_test_h,
        arg_max(from_utc, on_test_h) as from_utc,
        arg_max(coalesce(until_utc, $as_of), on_test_h) as until_utc,
        max(case
            when until_utc is null or until_utc > $as_of then 1 else 0
        end) as is_open,
        count(*) as n_spans
    from spans
    group by account_key
)
select
    g.account_key,
    '' as subject,
    case when g.on_test_h > l.value then 'finding' else 'sound' end as verdict,
    '' as reason,
    g.on_test_h as measured,
    l.value as limit_value,
    'h' as unit,
    g.from_utc as since_utc,
    g.until_utc,
    g.from_utc as evidence_from_utc,
    g.until_utc as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    g.n_spans as evidence_count,
    0 as excused_count,
    3 as grade,
    0 as k,
    g.n_spans as n,
    g.is_open as aggravated
from longest as g
inner join limits as l
    on g.account_key = l.account_key and l.name = 'on_test_h'
