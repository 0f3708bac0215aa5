-- purpose: tests that say themselves that a trouble is standing (608)
-- grain:   one row per account and path: of the boxes that test on it the one
--          whose last test reports a trouble, else the one that tests most
-- reads:   test
-- params:  $from, $until timestamp [UTC]
-- returns: n_608 of n_tests of that box in the window, its last test's code,
--          and since when its every test has been a 608. Boxes are kept apart:
--          a transmitter's clean test clears no trouble of the panel
with
periodic as (
    select
        account_key,
        path,
        origin,
        received_utc,
        code,
        row_number() over (
            partition by account_key, path, origin
            order by received_utc desc, source_id desc, line_no desc
        ) as from_last
    from test
    where test_kind = 'periodic' and received_utc < $until
),
clean as (
    select account_key, path, origin, max(received_utc) as last_clean_utc
    from periodic
    where code <> '608'
    group by account_key, path, origin
),
boxes as (
    select
        p.account_key,
        p.path,
        p.origin,
        count(*) filter (where p.received_utc >= $from) as n_tests,
        count(*) filter (
            where p.received_utc >= $from and p.code = '608'
        ) as n_608,
        max(case when p.from_last = 1 then p.code end) as last_code,
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
        on
            p.account_key = c.account_key
            and p.path = c.path
            and p.origin = c.origin
    group by p.account_key, p.path, p.origin
),
ranked as (
    select
        *,
        row_number() over (
            partition by account_key, path
            order by
                case when last_code = '608' then 0 else 1 end,
                n_tests desc,
                origin
        ) as place
    from boxes
)
select
    account_key,
    path,
    n_tests,
    n_608,
    last_code,
    last_test_utc,
    last_clean_utc,
    standing_since_utc
from ranked
where place = 1
