-- purpose: what others show on the receiver lines of an account's path
-- grain:   one row per account and path
-- reads:   path_lines, line_facts, life
-- params:  none
-- returns: tests and check-ins of others, path losses of anybody
with
shown as (
    select
        p.account_key,
        p.path,
        sum(l.n_tests) as n_tests,
        sum(l.n_check_ins) as n_check_ins,
        sum(l.n_losses) as n_losses
    from path_lines as p
    inner join line_facts as l on p.receiver = l.receiver and p.line = l.line
    group by p.account_key, p.path
),
own as (
    select
        account_key,
        sum(case when sign = 'test' then n else 0 end) as n_tests,
        sum(case when sign = 'check_in' then n else 0 end) as n_check_ins
    from life
    group by account_key
)
select
    s.account_key,
    s.path,
    greatest(s.n_tests - coalesce(o.n_tests, 0), 0) as n_tests_of_others,
    greatest(s.n_check_ins - coalesce(o.n_check_ins, 0), 0)
        as n_check_ins_of_others,
    s.n_losses as n_losses_of_anybody
from shown as s
left join own as o on s.account_key = o.account_key
