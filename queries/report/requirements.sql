-- purpose: the required intervals that were judged
-- grain:   one row per account, path and what
-- reads:   kept_requirements
-- params:  none
-- returns: seconds [s], grace [s], where they come from
select
    account_key, path, what, seconds, grace_s, source, standing, rule_id
from kept_requirements
order by account_key, path, what
