-- purpose: what did not come in a month, one by one
-- grain:   one row per missed or excused test, or overdue check-in
-- reads:   kept_slots, kept_month_gaps, month_span
-- params:  none
-- returns: when it was due and when the next check-in came (null for a test);
--          state missed, late (a check-in) or excused, and why; lenient where
--          another signal of the path stood in
select
    s.account_key,
    s.path,
    s.what,
    s.due_utc,
    cast(null as timestamp) as until_utc,
    s.state,
    s.why,
    s.lenient_ok as lenient
from kept_slots as s
cross join month_span as m
where s.due_utc >= m.from_utc and s.due_utc < m.until_utc
union all
select
    g.account_key,
    g.path,
    'supervision' as what,
    g.late_utc as due_utc,
    g.until_utc,
    case when g.missed then 'late' else 'excused' end as state,
    g.why,
    false as lenient
from kept_month_gaps as g
order by account_key, path, what, due_utc
