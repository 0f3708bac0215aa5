-- purpose: how the periodic tests of each receiver line lie within the hour
-- grain:   one row per receiver line with a test
-- reads:   all_fact_test
-- params:  $as_of, $from timestamp [UTC]
-- returns: n_tests [tests], n_testers [numbers]; minute_no the minute of the
--          hour in which most of them usually test and n_there how many do;
--          n_daily those that test about once a day here (0.6 to 1.4 a day)
with
tests as (
    select
        account_key,
        receiver,
        line,
        cast(floor(epoch(received_utc) / 60) as bigint)
        - 60 * cast(floor(epoch(received_utc) / 3600) as bigint) as minute_no
    from all_fact_test
    where
        test_kind = 'periodic'
        and received_utc >= $from
        and received_utc < $as_of
        and origin <> 'receiver'
),
minutes as (
    select receiver, line, account_key, minute_no, count(*) as n
    from tests
    group by receiver, line, account_key, minute_no
),
usual as (
    select receiver, line, account_key, minute_no
    from minutes
    qualify
        row_number() over (
            partition by receiver, line, account_key
            order by n desc, minute_no
        ) = 1
),
there as (
    select receiver, line, minute_no, count(*) as n_there
    from usual
    group by receiver, line, minute_no
),
fullest as (
    select receiver, line, minute_no, n_there
    from there
    qualify
        row_number() over (
            partition by receiver, line
            order by n_there desc, minute_no
        ) = 1
),
testers as (
    select
        receiver,
        line,
        account_key,
        count(*) as n,
        count(*) * 86400.0
        / (epoch(cast($as_of as timestamp)) - epoch(cast($from as timestamp)))
            as tests_a_day
    from tests
    group by receiver, line, account_key
),
totals as (
    select
        receiver,
        line,
        sum(n) as n_tests,
        count(*) as n_testers,
        count(*) filter (
            where tests_a_day >= 0.6 and tests_a_day <= 1.4
        ) as n_daily
    from testers
    group by receiver, line
)
select
    t.receiver,
    t.line,
    cast(t.n_tests as bigint) as n_tests,
    t.n_testers,
    f.minute_no,
    f.n_there,
    t.n_daily
from totals as t
inner join fullest as f on t.receiver = f.receiver and t.line = f.line
order by t.receiver, t.line
