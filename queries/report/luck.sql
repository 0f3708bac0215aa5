-- purpose: how many missed tests luck alone explains in the window
-- grain:   one row
-- reads:   kept_test_measures, all_test_odds
-- params:  none
-- returns: n_due tests due in the window on paths that ever tested, the rate at
--          which sound paths of this station miss one (null without any), and
--          expected: that rate over what was due, each path by the probability
--          that it is sound
select
    cast(coalesce(sum(t.k_window + t.n_window), 0) as bigint) as n_due,
    max(o.healthy_rate) as healthy_rate,
    coalesce(
        sum((t.k_window + t.n_window) * o.healthy_rate * (1 - o.p_broken)), 0
    ) as expected
from kept_test_measures as t
inner join all_test_odds as o
    on t.account_key = o.account_key and t.path = o.path and t.what = o.what
