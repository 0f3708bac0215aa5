-- purpose: whether an account tests only while it is on test
-- grain:   one row per account with a test and an on-test span in the history
-- reads:   test, on_test
-- params:  none
-- returns: n_tests, n_on_test of them; first and last of either
with
listed as (
    select distinct account_key from on_test
),
mine as (
    select t.account_key, t.received_utc, t.source_id, t.line_no
    from test as t
    inner join listed as l on t.account_key = l.account_key
),
covered as (
    select distinct m.account_key, m.source_id, m.line_no
    from mine as m
    inner join on_test as o
        on
            m.account_key = o.account_key
            and m.received_utc >= o.from_utc
            and (o.until_utc is null or m.received_utc < o.until_utc)
)
select
    m.account_key,
    count(*) as n_tests,
    count(c.line_no) as n_on_test,
    min(m.received_utc) as first_utc,
    max(m.received_utc) as last_utc,
    max(case when c.line_no is null then m.received_utc end) as last_off_utc
from mine as m
left join covered as c
    on
        m.account_key = c.account_key
        and m.source_id = c.source_id
        and m.line_no = c.line_no
group by m.account_key
