-- purpose: each path of an account and when it was last proven
-- grain:   one row per monitored account and path of the roster; path '' where
--          the roster names none
-- reads:   all_accounts, all_paths, kept_life
-- params:  none
-- returns: last signal of any kind, last test and last check-in on the path, at
--          any time held; null where none was ever seen on it
with
ways as (
    select
        a.account_key,
        coalesce(p.path, '') as path,
        coalesce(p.kind, '') as kind,
        coalesce(p.role, '') as role
    from all_accounts as a
    left join all_paths as p on a.account_key = p.account_key
    where a.monitored
),
signs as (
    select
        account_key,
        path,
        max(last_utc) as last_utc,
        max(case when sign = 'test' then last_utc end) as last_test_utc,
        max(case when sign = 'check_in' then last_utc end)
            as last_check_in_utc
    from kept_life
    where origin <> 'receiver'
    group by account_key, path
),
untold as (
    select account_key, max(last_utc) as last_utc
    from kept_life
    where origin <> 'receiver' and path = ''
    group by account_key
)
select
    w.account_key,
    w.path,
    w.kind,
    w.role,
    s.last_utc,
    s.last_test_utc,
    s.last_check_in_utc,
    u.last_utc as last_untold_utc
from ways as w
left join signs as s
    on w.account_key = s.account_key and w.path = s.path
left join untold as u on w.account_key = u.account_key
order by w.account_key, w.path
