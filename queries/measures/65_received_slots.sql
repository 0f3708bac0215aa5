-- purpose: required tests that came, one by one
-- grain:   one row per requirement and test, from 28 days before the window
-- reads:   requirements, test
-- params:  $as_of, $from timestamp [UTC]
-- returns: when the test was received
select
    r.account_key,
    r.path,
    r.what,
    t.received_utc
from requirements as r
inner join test as t
    on
        r.account_key = t.account_key
        and (r.path = t.path or r.path = '')
where
    r.what in ('test', 'panel_test')
    and (r.what = 'test' or t.origin = 'panel')
    and t.test_kind = 'periodic'
    and t.received_utc >= $from - interval 28 day
    and t.received_utc < $as_of
