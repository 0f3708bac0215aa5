-- purpose: signs of life of a month that a requirement asks for, counted
-- grain:   one row per requirement with at least one sign
-- reads:   requirements, test, check_in, month_span
-- params:  none
-- returns: n received in the month; first and last sign in the history held
with
signs as (
    select r.account_key, r.path, r.what, t.received_utc
    from requirements as r
    inner join test as t
        on
            r.account_key = t.account_key
            and (r.path = t.path or r.path = '')
    where
        r.what in ('test', 'panel_test')
        and (r.what = 'test' or t.origin = 'panel')
        and t.test_kind = 'periodic'
    union all
    select r.account_key, r.path, r.what, c.received_utc
    from requirements as r
    inner join check_in as c
        on r.account_key = c.account_key and r.path = c.path
    where r.what = 'supervision'
)
select
    s.account_key,
    s.path,
    s.what,
    sum(case
        when s.received_utc >= m.from_utc and s.received_utc < m.until_utc
            then 1
        else 0
    end) as n_received,
    min(s.received_utc) as first_utc,
    max(s.received_utc) as last_utc
from signs as s
cross join month_span as m
group by s.account_key, s.path, s.what
