-- purpose: how long conditions of some families lasted, whoever had them
-- grain:   one row per condition of an account that sends their restores
-- reads:   kept_episodes, kept_habits, all_accounts, told_families
-- params:  $as_of timestamp [UTC]
-- returns: hours up to the restore, else up to $as_of; ended 0 or 1
select
    e.account_key,
    e.family,
    (epoch(coalesce(e.restored_utc, $as_of)) - epoch(e.started_utc)) / 3600
        as hours,
    case when e.restored_utc is null then 0 else 1 end as ended
from kept_episodes as e
inner join told_families as t on e.family = t.family
inner join kept_habits as h
    on e.account_key = h.account_key and e.family = h.family
inner join all_accounts as a on e.account_key = a.account_key
where h.n_restored > 0 and a.monitored and e.started_utc < $as_of
order by e.family, e.account_key, e.started_utc, e.partition, e.zone
