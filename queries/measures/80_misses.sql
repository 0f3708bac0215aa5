-- purpose: misses of four weeks by path, with what its peers have in common
-- grain:   one row per required test that has come before
-- reads:   test_measures, paths, path_lines, ranks_as
-- params:  none
-- returns: k missed of n due, excused ones in neither; kind of path ('' for an
--          account as a whole, 'panel' for the panel's own test), receiver line
--          (the lowest where there are several) and system type
with
lines as (
    select account_key, path, min(receiver || '/' || line) as line
    from path_lines
    group by account_key, path
)
select
    m.account_key,
    m.path,
    m.what,
    cast(m.k_four_weeks as bigint) as k,
    cast(m.n_four_weeks + m.k_four_weeks as bigint) as n,
    case
        when m.what = 'panel_test' then 'panel'
        else coalesce(p.kind, '')
    end as kind,
    coalesce(l.line, '') as line,
    coalesce(r.ranks_as, '') as system_type
from test_measures as m
left join paths as p on m.account_key = p.account_key and m.path = p.path
left join lines as l on m.account_key = l.account_key and m.path = l.path
left join ranks_as as r on m.account_key = r.account_key
where m.n_ever > 0
order by m.account_key, m.path, m.what
