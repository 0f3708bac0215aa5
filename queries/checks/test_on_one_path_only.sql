-- purpose: two paths, and every test goes by the same one
-- grain:   one row per path of a monitored account with several paths on which
--          nothing is required, while another carries the tests
-- reads:   paths, accounts, life, untold, account_line_facts, excuses,
--          limits
-- params:  $from, $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [tests]
-- A path that is supervised, or has a test of its own on the roster, has checks
-- of its own; one never heard at all is unproven, not untested.
with
bare as (
    select
        p.account_key,
        p.path,
        n.value as least,
        d.value as days,
        u.account_key is not null as is_untold
    from paths as p
    inner join accounts as a on p.account_key = a.account_key
    inner join limits as n
        on p.account_key = n.account_key and n.name = 'tests'
    inner join limits as d
        on p.account_key = d.account_key and d.name = 'days'
    left join untold as u on p.account_key = u.account_key
    where
        a.monitored
        and p.test_s is null
        and p.supervision_s is null
        and exists (
            select 1
            from paths as o
            where o.account_key = p.account_key and o.path <> p.path
        )
),
used as (
    select
        account_key,
        path,
        sum(case when sign = 'test' then n else 0 end) as n_tests,
        max(case when sign = 'test' then last_utc end) as last_test_utc,
        min(case when sign = 'test' then first_utc end) as first_test_utc,
        sum(case when sign = 'signal' then n else 0 end) as n_signals,
        sum(case when sign = 'check_in' then n else 0 end) as n_check_ins,
        max(last_utc) as last_utc
    from life
    where path <> ''
    group by account_key, path
),
others as (
    select
        b.account_key,
        b.path,
        sum(u.n_tests) as n_tests,
        min(u.first_test_utc) as first_test_utc,
        max(u.last_test_utc) as last_test_utc
    from bare as b
    inner join used as u
        on b.account_key = u.account_key and b.path <> u.path
    group by b.account_key, b.path
),
hidden as (
    select
        b.account_key,
        b.path,
        sum(
            epoch(least(e.until_utc, $as_of))
            - epoch(greatest(e.from_utc, $as_of - interval 28 day))
        ) as hidden_s
    from bare as b
    inner join excuses as e
        on b.account_key = e.account_key and b.path = e.path
    where
        e.why <> 'on_test'
        and e.until_utc > $as_of - interval 28 day
        and e.from_utc < $as_of
    group by b.account_key, b.path
),
judged as (
    select
        b.*,
        coalesce(o.n_tests, 0) as n_others,
        o.first_test_utc,
        o.last_test_utc as other_test_utc,
        coalesce(u.n_tests, 0) as n_own,
        u.last_test_utc,
        u.last_utc,
        coalesce(u.n_signals, 0) as n_signals,
        coalesce(h.hidden_s, 0) as hidden_s,
        case
            when b.is_untold then 'paths not told apart'
            when coalesce(u.n_check_ins, 0) > 0 then 'sound'
            when
                u.last_test_utc is not null
                and epoch($as_of) - epoch(u.last_test_utc) <= b.days * 86400
                then 'sound'
            when
                coalesce(o.n_tests, 0) < b.least or o.last_test_utc < $from
                then 'too few tests on the other path'
            when coalesce(u.n_signals, 0) + coalesce(u.n_tests, 0) = 0
                then 'never heard on this path: not proven'
            when coalesce(h.hidden_s, 0) * 2 > b.days * 86400
                then 'excused by an incident or missing log'
            when u.n_tests is null or u.n_tests = 0
                then case
                    when coalesce(f.n_tests_of_others, 0) = 0
                        then 'no tests of anybody show on its line'
                    else 'finding'
                end
            else 'finding'
        end as state
    from bare as b
    left join others as o
        on b.account_key = o.account_key and b.path = o.path
    left join used as u
        on b.account_key = u.account_key and b.path = u.path
    left join hidden as h
        on b.account_key = h.account_key and b.path = h.path
    left join account_line_facts as f
        on b.account_key = f.account_key and b.path = f.path
)
select
    account_key,
    'path=' || path as subject,
    case
        when state in ('finding', 'sound') then state else 'not_judged'
    end as verdict,
    case when state in ('finding', 'sound') then '' else state end as reason,
    cast(n_others as double) as measured,
    least as limit_value,
    'tests' as unit,
    coalesce(last_test_utc, first_test_utc) as since_utc,
    $as_of as until_utc,
    first_test_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_test_utc as last_good_utc,
    n_others as evidence_count,
    case when hidden_s > 0 then 1 else 0 end as excused_count,
    case when n_own = 0 and n_others >= 4 * least then 3 else 2 end as grade,
    n_own as k,
    n_own + n_others as n
from judged
