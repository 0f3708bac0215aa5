-- purpose: an account whose every test came while it was on test
-- grain:   one row per monitored account with a test and an on-test span
-- reads:   tests_on_test, accounts, excuses, requirements, test_rhythm, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h off test, in the
--          log, without a test]; k tests on test of n
-- Off test the account must have had twice its interval to test in.
with
asked as (
    select account_key, max(seconds) as seconds
    from requirements
    where what = 'test'
    group by account_key
),
usual as (
    select account_key, max(period_s) as seconds
    from test_rhythm
    group by account_key
),
mine as (
    select
        t.account_key,
        t.n_tests,
        t.n_on_test,
        t.first_utc,
        t.last_utc,
        t.last_off_utc,
        greatest(
            l.value, 2 * coalesce(q.seconds, u.seconds, 0) / 3600
        ) as limit_h
    from tests_on_test as t
    inner join accounts as a on t.account_key = a.account_key
    inner join limits as l
        on t.account_key = l.account_key and l.name = 'off_test_h'
    left join asked as q on t.account_key = q.account_key
    left join usual as u on t.account_key = u.account_key
    where a.monitored
),
away as (
    select
        m.account_key,
        sum(
            epoch(least(x.until_utc, $as_of))
            - epoch(greatest(x.from_utc, m.first_utc))
        ) / 3600 as away_h,
        sum(case when x.why <> 'on_test' then 1 else 0 end) as n_holes
    from mine as m
    inner join excuses as x on m.account_key = x.account_key
    where
        x.path = ''
        and x.until_utc > m.first_utc
        and x.from_utc < $as_of
    group by m.account_key
),
judged as (
    select
        m.*,
        (epoch($as_of) - epoch(m.first_utc)) / 3600 - coalesce(w.away_h, 0)
            as off_h,
        coalesce(w.n_holes, 0) as n_holes
    from mine as m
    left join away as w on m.account_key = w.account_key
)
select
    account_key,
    '' as subject,
    case
        when n_on_test < n_tests then 'sound'
        when off_h > limit_h then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when n_on_test < n_tests then 'tested off test too'
        when off_h > limit_h then ''
        else 'off test, and in the log, for too short a time'
    end as reason,
    off_h as measured,
    limit_h as limit_value,
    'h' as unit,
    first_utc as since_utc,
    $as_of as until_utc,
    first_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_off_utc as last_good_utc,
    n_tests as evidence_count,
    n_holes as excused_count,
    case when n_tests >= 3 then 3 else 2 end as grade,
    n_on_test as k,
    n_tests as n
from judged
