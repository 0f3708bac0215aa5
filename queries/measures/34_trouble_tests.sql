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
    select account_key, path, origin, received_utc, code, source_id, line_no
    from test
    where test_kind = 'periodic' and received_utc < $until
),
counted as (
    select
        account_key,
        path,
        origin,
        count(*) filter (where received_utc >= $from) as n_tests,
        count(*) filter (
            where received_utc >= $from and code = '608'
        ) as n_608,
        max(received_utc) as last_test_utc,
        max(case when code <> '608' then received_utc end) as last_clean_utc
    from periodic
    group by account_key, path, origin
),
last_of_all as (
    select
        p.account_key,
        p.path,
        p.origin,
        p.code,
        row_number() over (
            partition by p.account_key, p.path, p.origin
            order by p.source_id desc, p.line_no desc
        ) as from_last
    from periodic as p
    inner join counted as c
        on
            p.account_key = c.account_key
            and p.path = c.path
            and p.origin = c.origin
            and p.received_utc = c.last_test_utc
),
standing as (
    select
        p.account_key,
        p.path,
        p.origin,
        min(p.received_utc) as standing_since_utc
    from periodic as p
    inner join counted as c
        on
            p.account_key = c.account_key
            and p.path = c.path
            and p.origin = c.origin
    where
        p.code = '608'
        and (
            c.last_clean_utc is null or p.received_utc > c.last_clean_utc
        )
    group by p.account_key, p.path, p.origin
),
boxes as (
    select
        c.*,
        l.code as last_code,
        s.standing_since_utc
    from counted as c
    inner join last_of_all as l
        on
            c.account_key = l.account_key
            and c.path = l.path
            and c.origin = l.origin
            and l.from_last = 1
    left join standing as s
        on
            c.account_key = s.account_key
            and c.path = s.path
            and c.origin = s.origin
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
