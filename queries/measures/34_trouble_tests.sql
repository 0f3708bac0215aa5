-- purpose: tests that say themselves that a trouble is standing (608)
-- grain:   one row per account and path
-- reads:   test
-- params:  $from, $until timestamp [UTC]
-- returns: n_608 of n_tests in the window, the last test's code, and since when
--          every test has been a 608
with
periodic as (
    select account_key, path, received_utc, code
    from test
    where test_kind = 'periodic' and received_utc < $until
),
clean as (
    select account_key, path, max(received_utc) as last_clean_utc
    from periodic
    where code <> '608'
    group by account_key, path
)
select
    p.account_key,
    p.path,
    count(*) filter (where p.received_utc >= $from) as n_tests,
    count(*) filter (
        where p.received_utc >= $from and p.code = '608'
    ) as n_608,
    arg_max(p.code, p.received_utc) as last_code,
    max(p.received_utc) as last_test_utc,
    max(c.last_clean_utc) as last_clean_utc,
    min(case
        when
            p.code = '608'
            and (
                c.last_clean_utc is null
                or p.received_utc > c.last_clean_utc
            )
            then p.received_utc
    end) as standing_since_utc
from periodic as p
left join clean as c
    on p.account_key = c.account_key and p.path = c.path
group by p.account_key, p.path
