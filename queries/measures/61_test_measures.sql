-- purpose: how a required test kept its time, in the window and in 4 weeks
-- grain:   one row per requirement of what test or panel_test
-- reads:   requirements, test, slots, life
-- params:  $from, $until timestamp [UTC]
-- returns: counts of tests received, slots missed (strict and lenient) and
--          excused; last counting test and last sign of life of that path;
--          misses since the last test. Excused slots are in neither k nor n
with
wanted as (
    select *
    from requirements
    where what in ('test', 'panel_test')
),
received as (
    select
        r.account_key,
        r.path,
        r.what,
        count(*) as n_ever,
        count(*) filter (
            where t.received_utc >= $from and t.received_utc < $until
        ) as n_window,
        count(*) filter (
            where t.received_utc >= $until - interval 28 day
        ) as n_four_weeks,
        min(t.received_utc) as first_test_utc,
        max(t.received_utc) as last_test_utc,
        sum(case when t.time_doubt <> 'exact' then 1 else 0 end) as n_doubt
    from wanted as r
    inner join test as t
        on
            r.account_key = t.account_key
            and (r.path = t.path or r.path = '')
    where
        t.test_kind = 'periodic'
        and (r.what = 'test' or t.origin = 'panel')
    group by r.account_key, r.path, r.what
),
missed as (
    select
        account_key,
        path,
        what,
        count(*) filter (
            where state = 'missed' and due_utc >= $from and due_utc < $until
        ) as k_window,
        count(*) filter (
            where
            state = 'missed' and not lenient_ok
            and due_utc >= $from and due_utc < $until
        ) as k_window_lenient,
        count(*) filter (
            where
            state = 'missed' and not is_open
            and due_utc >= $until - interval 28 day
        ) as k_four_weeks,
        count(*) filter (
            where state = 'excused' and due_utc >= $from and due_utc < $until
        ) as excused_window,
        count(*) filter (
            where
            state = 'excused' and due_utc >= $until - interval 28 day
        ) as excused_four_weeks,
        count(*) filter (
            where state = 'missed' and is_open
        ) as open_misses,
        count(*) filter (
            where state = 'missed' and is_open and not lenient_ok
        ) as open_misses_lenient,
        count(*) filter (
            where state = 'excused' and is_open
        ) as open_excused
    from slots
    group by account_key, path, what
),
sign as (
    select
        r.account_key,
        r.path,
        r.what,
        min(l.first_utc) as first_sign_utc,
        max(l.last_utc) as last_sign_utc,
        sum(l.n) as n_signs
    from wanted as r
    inner join life as l
        on
            r.account_key = l.account_key
            and (r.path = l.path or r.path = '')
    where
        l.sign in ('test', 'signal')
        and (r.what = 'test' or l.origin = 'panel')
    group by r.account_key, r.path, r.what
)
select
    r.account_key,
    r.path,
    r.what,
    r.seconds,
    r.grace_s,
    r.source,
    r.standing,
    r.rule_id,
    coalesce(v.n_ever, 0) as n_ever,
    coalesce(v.n_window, 0) as n_window,
    coalesce(v.n_four_weeks, 0) as n_four_weeks,
    coalesce(v.n_doubt, 0) as n_doubt,
    v.first_test_utc,
    v.last_test_utc,
    s.first_sign_utc,
    s.last_sign_utc,
    coalesce(s.n_signs, 0) as n_signs,
    coalesce(m.k_window, 0) as k_window,
    coalesce(m.k_window_lenient, 0) as k_window_lenient,
    coalesce(m.k_four_weeks, 0) as k_four_weeks,
    coalesce(m.excused_window, 0) as excused_window,
    coalesce(m.excused_four_weeks, 0) as excused_four_weeks,
    coalesce(m.open_misses, 0) as open_misses,
    coalesce(m.open_misses_lenient, 0) as open_misses_lenient,
    coalesce(m.open_excused, 0) as open_excused
from wanted as r
left join received as v
    on
        r.account_key = v.account_key
        and r.path = v.path
        and r.what = v.what
left join missed as m
    on
        r.account_key = m.account_key
        and r.path = m.path
        and r.what = m.what
left join sign as s
    on
        r.account_key = s.account_key
        and r.path = s.path
        and r.what = s.what
order by r.account_key, r.path, r.what
