-- purpose: required intervals whose keeping would show in this log
-- grain:   as requirements
-- reads:   requirements, paths, life
-- params:  none
-- returns: tests, and supervision where the roster says that check-ins appear
--          in the log and at least one did
select
    r.account_key,
    r.path,
    r.what,
    r.seconds,
    r.grace_s,
    r.source,
    r.standing,
    r.rule_id
from requirements as r
left join paths as p
    on r.account_key = p.account_key and r.path = p.path
left join (
    select account_key, path, sum(n) as n
    from life
    where sign = 'check_in'
    group by account_key, path
) as c on r.account_key = c.account_key and r.path = c.path
where
    r.what = 'test'
    or (r.what = 'supervision' and p.checks_in = 'yes' and c.n > 0)
