-- purpose: required tests of some paths, one by one: came or missed
-- grain:   one row per asked path and test received or slot missed, from 28
--          days before the window; excused slots and an open gap are left out
-- reads:   kept_slots, kept_received_slots, told_paths
-- params:  $from, $until timestamp [UTC]
-- returns: at_utc when it came or was due; missed 0 or 1; this_week 0 or 1
with
cells as (
    select s.account_key, s.path, s.what, s.due_utc as at_utc, 1 as missed
    from kept_slots as s
    where s.state = 'missed' and not s.is_open
    union all
    select r.account_key, r.path, r.what, r.received_utc as at_utc, 0 as missed
    from kept_received_slots as r
)
select
    c.account_key,
    c.path,
    c.what,
    c.at_utc,
    c.missed,
    case when c.at_utc >= $from then 1 else 0 end as this_week
from cells as c
inner join told_paths as t
    on c.account_key = t.account_key and c.path = t.path and c.what = t.what
where c.at_utc < $until
order by c.account_key, c.path, c.what, c.at_utc, c.missed
