-- purpose: local days of a month on which a requirement was not kept, or could
--          not be judged
-- grain:   one row per requirement and local day that is not as expected
-- reads:   kept_visible_requirements, kept_requirements, kept_slots,
--          kept_month_gaps, kept_excuses, local_days
-- params:  none
-- returns: missed 1 where a test or check-in did not come and nothing away from
--          the site explains it; lenient 1 where each of them was a test and
--          another signal of the path stood in for it; why the day cannot be
--          judged otherwise, '' where it can: more than an hour of it
--          unheard, or a test that fell due in such a time
with
asked as (
    select account_key, path, what from kept_visible_requirements
    union
    select account_key, path, what
    from kept_requirements
    where what = 'panel_test'
),
tests as (
    select
        s.account_key,
        s.path,
        s.what,
        d.local_day,
        max(case when s.state = 'missed' then 1 else 0 end) as missed,
        min(case
            when s.state = 'missed' and not s.lenient_ok then 0 else 1
        end) as lenient,
        max(s.why) as why
    from kept_slots as s
    inner join local_days as d
        on s.due_utc >= d.from_utc and s.due_utc < d.until_utc
    group by s.account_key, s.path, s.what, d.local_day
),
late as (
    select
        g.account_key,
        g.path,
        g.from_utc as gap_utc,
        g.missed,
        g.why as gap_why,
        d.local_day,
        greatest(g.late_utc, d.from_utc) as from_utc,
        least(g.until_utc, d.until_utc) as until_utc
    from kept_month_gaps as g
    inner join local_days as d
        on g.late_utc < d.until_utc and g.until_utc > d.from_utc
),
forgiven as (
    select
        l.account_key,
        l.path,
        l.gap_utc,
        l.local_day,
        sum(
            epoch(least(l.until_utc, e.until_utc))
            - epoch(greatest(l.from_utc, e.from_utc))
        ) as excused_s
    from late as l
    inner join kept_excuses as e
        on l.account_key = e.account_key and l.path = e.path
    where e.from_utc < l.until_utc and e.until_utc > l.from_utc
    group by l.account_key, l.path, l.gap_utc, l.local_day
),
check_ins as (
    select
        l.account_key,
        l.path,
        'supervision' as what,
        l.local_day,
        max(case
            when
                l.missed
                and epoch(l.until_utc) - epoch(l.from_utc)
                > coalesce(f.excused_s, 0)
                then 1
            else 0
        end) as missed,
        max(l.gap_why) as why
    from late as l
    left join forgiven as f
        on
            l.account_key = f.account_key
            and l.path = f.path
            and l.gap_utc = f.gap_utc
            and l.local_day = f.local_day
    group by l.account_key, l.path, l.local_day
),
holes as (
    select
        a.account_key,
        a.path,
        a.what,
        d.local_day,
        max(e.why) as why
    from asked as a
    inner join kept_excuses as e
        on a.account_key = e.account_key and a.path = e.path
    inner join local_days as d
        on e.from_utc < d.until_utc and e.until_utc > d.from_utc
    group by a.account_key, a.path, a.what, d.local_day
    having
        sum(
            epoch(least(e.until_utc, d.until_utc))
            - epoch(greatest(e.from_utc, d.from_utc))
        ) > 3600
),
said as (
    select account_key, path, what, local_day, missed, lenient, why
    from tests
    union all
    select account_key, path, what, local_day, missed, 0 as lenient, why
    from check_ins
    union all
    select
        account_key, path, what, local_day, 0 as missed, 1 as lenient, why
    from holes
)
select
    s.account_key,
    s.path,
    s.what,
    s.local_day,
    max(s.missed) as missed,
    min(s.lenient) as lenient,
    case when max(s.missed) = 1 then '' else max(s.why) end as why
from said as s
inner join asked as a
    on s.account_key = a.account_key and s.path = a.path and s.what = a.what
where s.missed = 1 or s.why <> ''
group by s.account_key, s.path, s.what, s.local_day
order by s.account_key, s.path, s.what, s.local_day
