-- purpose: when a signal of an account's path could not have been expected
-- grain:   one row per account, path ('' = the account as a whole) and span
-- reads:   path_sets, set_holes, on_test
-- params:  $as_of timestamp [UTC]
-- returns: why on_test or the kind of the incident; an on-test span that is
--          still open ends at $as_of
select
    s.account_key,
    s.path,
    h.from_utc,
    h.until_utc,
    h.kind as why,
    h.incident_id
from path_sets as s
inner join set_holes as h on s.line_set = h.line_set
union all
select
    s.account_key,
    s.path,
    t.from_utc,
    coalesce(t.until_utc, $as_of) as until_utc,
    'on_test' as why,
    '' as incident_id
from path_sets as s
inner join on_test as t on s.account_key = t.account_key
where t.from_utc < $as_of
