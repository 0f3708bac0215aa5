-- purpose: tests come on time and say that a trouble is standing (608)
-- grain:   one row per account and path with tests in the window
-- reads:   trouble_tests, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [tests]
select
    t.account_key,
    case when t.path = '' then '' else 'path=' || t.path end as subject,
    case
        when t.last_code = '608' and t.n_608 >= l.value then 'finding'
        else 'sound'
    end as verdict,
    case
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
    0 as excused_count,
    case when t.n_608 >= 3 then 3 else 2 end as grade,
    t.n_608 as k,
    t.n_tests as n
from trouble_tests as t
inner join limits as l
    on t.account_key = l.account_key and l.name = 'tests'
where t.n_tests > 0
