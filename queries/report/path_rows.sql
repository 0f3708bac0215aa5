-- purpose: the paths of the accounts that have a page, as the roster gives them
-- grain:   one row per page, account and path
-- reads:   all_paths, asked
-- params:  none
-- returns: kind, role, network, where it comes in, what is required of it [s]
select
    a.page_no,
    a.account_key,
    p.path,
    p.kind,
    p.role,
    p.network,
    p.receiver,
    p.line,
    p.reports_as_key,
    p.test_s,
    p.supervision_s,
    p.checks_in
from all_paths as p
inner join asked as a on p.account_key = a.account_key
order by a.page_no, a.account_key, p.path
