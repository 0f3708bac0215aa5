-- purpose: what looks like an inspection although nobody put the account on
--          test
-- grain:   one row per account with such hours in the window
-- reads:   inspections, alarms, limits
-- params:  $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [points in a row];
--          k alarms among n signals
-- These hours are left out where a check counts a point's own faults; the
-- alarms in them stay in the log and in the count of alarms.
with
mine as (
    select i.*
    from inspections as i
    where i.until_utc >= $from and i.from_utc < $until
),
rung as (
    select m.account_key, count(distinct a.line_no) as n_alarms
    from mine as m
    inner join alarms as a
        on
            m.account_key = a.account_key
            and a.received_utc >= m.from_utc
            and a.received_utc <= m.until_utc
    where not m.is_on_test
    group by m.account_key
),
summed as (
    select
        account_key,
        count(*) as n_spans,
        count(*) filter (where not is_on_test) as n_unknown,
        max(case when not is_on_test then n_points end) as n_points,
        max(case
            when not is_on_test and why = 'mode' then 1 else 0
        end) as has_mode,
        sum(case when not is_on_test then n_signals else 0 end) as n_signals,
        min(case when not is_on_test then from_utc end) as first_utc,
        max(case when not is_on_test then until_utc end) as last_utc,
        min(from_utc) as first_any_utc,
        max(until_utc) as last_any_utc
    from mine
    group by account_key
)
select
    s.account_key,
    '' as subject,
    case
        when s.n_unknown = 0 then 'sound'
        when s.has_mode = 1 or s.n_points >= l.value then 'finding'
        else 'sound'
    end as verdict,
    case
        when s.n_unknown = 0 then 'it was on test'
        when s.has_mode = 1 then 'the panel reported its test mode'
        when s.n_points >= l.value then ''
        else 'few points'
    end as reason,
    cast(coalesce(s.n_points, 0) as double) as measured,
    l.value as limit_value,
    'points' as unit,
    coalesce(s.first_utc, s.first_any_utc) as since_utc,
    coalesce(s.last_utc, s.last_any_utc) as until_utc,
    coalesce(s.first_utc, s.first_any_utc) as evidence_from_utc,
    coalesce(s.last_utc, s.last_any_utc) as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    s.n_signals as evidence_count,
    0 as excused_count,
    case when s.has_mode = 1 then 3 when s.n_points >= 2 * l.value then 2
        else 1 end as grade,
    coalesce(r.n_alarms, 0) as k,
    s.n_signals as n
from summed as s
inner join limits as l
    on s.account_key = l.account_key and l.name = 'points'
left join rung as r on s.account_key = r.account_key
