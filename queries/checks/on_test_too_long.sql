-- purpose: an account left on test
-- grain:   one row per account with an on-test span reaching into the window
-- reads:   on_test, accounts, limits
-- params:  $as_of, $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Spans that overlap are one time on test; one that begins when the one before
-- ends is a renewal and stands alone. A planned end after $as_of has not come.
with
spans as (
    select
        t.account_key,
        t.from_utc,
        least(coalesce(t.until_utc, $as_of), $as_of) as until_utc,
        case
            when t.until_utc is null or t.until_utc > $as_of then 1 else 0
        end as is_open
    from on_test as t
    inner join accounts as a on t.account_key = a.account_key
    where a.monitored and t.from_utc < $as_of
),
marked as (
    select
        *,
        case
            when from_utc < max(until_utc) over (
                partition by account_key
                order by from_utc, until_utc
                rows between unbounded preceding and 1 preceding
            ) then 0
            else 1
        end as begins
    from spans
),
numbered as (
    select
        *,
        sum(begins) over (
            partition by account_key
            order by from_utc, until_utc
            rows between unbounded preceding and current row
        ) as time_no
    from marked
),
times as (
    select
        account_key,
        time_no,
        min(from_utc) as from_utc,
        max(until_utc) as until_utc,
        max(is_open) as is_open,
        count(*) as n_spans,
        (epoch(max(until_utc)) - epoch(min(from_utc))) / 3600 as on_test_h
    from numbered
    group by account_key, time_no
),
ranked as (
    select
        *,
        sum(n_spans) over (partition by account_key) as n_spans_all,
        row_number() over (
            partition by account_key
            order by on_test_h desc, from_utc desc
        ) as place
    from times
    where until_utc > $from and from_utc < $until
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
    g.n_spans_all as evidence_count,
    0 as excused_count,
    3 as grade,
    0 as k,
    g.n_spans_all as n,
    g.is_open as aggravated
from ranked as g
inner join limits as l
    on g.account_key = l.account_key and l.name = 'on_test_h'
where g.place = 1
