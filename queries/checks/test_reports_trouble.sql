-- purpose: tests come on time and say that a trouble is standing (608)
-- grain:   one row per account and path with tests in the window, or whose
--          last test before it said so
-- reads:   trouble_tests, excuses, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [tests]
-- The last test decides. A window without a test neither repeats a trouble nor
-- clears it; log missing after the last test lowers the grade.
with
hidden as (
    select
        t.account_key,
        t.path,
        count(*) as n_holes
    from trouble_tests as t
    inner join excuses as e
        on t.account_key = e.account_key and t.path = e.path
    where
        e.why <> 'on_test'
        and e.from_utc < $until
        and e.until_utc > t.last_test_utc
    group by t.account_key, t.path
)
select
    t.account_key,
    case when t.path = '' then '' else 'path=' || t.path end as subject,
    case
        when t.n_tests = 0 then 'not_judged'
        when t.last_code = '608' and t.n_608 >= l.value then 'finding'
        else 'sound'
    end as verdict,
    case
        when t.n_tests = 0
            then 'no test in the window; the last one said trouble'
        when t.last_code <> '608' and t.n_608 > 0 then 'cleared since'
        else ''
    end as reason,
    cast(t.n_608 as double) as measured,
    l.value as limit_value,
    'tests' as unit,
    t.standing_since_utc as since_utc,
    $until as until_utc,
    t.standing_since_utc as evidence_from_utc,
    $until as evidence_until_utc,
    t.last_clean_utc as last_good_utc,
    t.n_608 as evidence_count,
    case when h.n_holes > 0 then 1 else 0 end as excused_count,
    case when t.n_608 >= 3 then 3 else 2 end as grade,
    t.n_608 as k,
    t.n_tests as n
from trouble_tests as t
inner join limits as l
    on t.account_key = l.account_key and l.name = 'tests'
left join hidden as h
    on t.account_key = h.account_key and t.path = h.path
where t.n_tests > 0 or t.last_code = '608'
