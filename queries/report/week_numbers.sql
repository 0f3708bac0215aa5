-- purpose: how many accounts are silent, degraded or too long on test, week
--          by week, as the runs of these weeks found them
-- grain:   one row per week and number
-- reads:   week_labels, week_findings, week_families
-- params:  none
-- returns: value [accounts]; an account silent is not counted as degraded too
with
told as (
    select
        f.label,
        f.account_key,
        max(case when m.family = 'silent' then 1 else 0 end) as is_silent,
        max(case when m.family = 'degraded' then 1 else 0 end) as is_degraded,
        max(case when m.family = 'on_test' then 1 else 0 end) as is_on_test
    from week_findings as f
    inner join week_families as m on f.check_id = m.check_id
    group by f.label, f.account_key
),
counted as (
    select
        label,
        sum(is_silent) as n_silent,
        sum(case when is_silent = 0 then is_degraded else 0 end) as n_degraded,
        sum(is_on_test) as n_on_test
    from told
    group by label
)
select
    w.label,
    'silent_now' as name,
    cast(coalesce(c.n_silent, 0) as double) as value
from week_labels as w
left join counted as c on w.label = c.label
union all
select
    w.label,
    'degraded_now' as name,
    cast(coalesce(c.n_degraded, 0) as double) as value
from week_labels as w
left join counted as c on w.label = c.label
union all
select
    w.label,
    'on_test_over_limit' as name,
    cast(coalesce(c.n_on_test, 0) as double) as value
from week_labels as w
left join counted as c on w.label = c.label
order by label, name
