-- purpose: which receiver lines an account's path can be heard on
-- grain:   one row per account, path ('' = the account as a whole), receiver
--          and line
-- reads:   accounts, paths, ways_settled, receiver_lines
-- params:  none
-- returns: from the roster, else from the lines it used, else every line of
--          its receiver group
with
listed as (
    select p.account_key, p.path, r.receiver, r.line
    from paths as p
    inner join receiver_lines as r
        on
            p.receiver = r.receiver
            and (p.line = r.line or p.line = '')
    where p.receiver <> ''
),
used as (
    select w.account_key, w.path, w.receiver, w.line
    from ways_settled as w
    left join listed as l
        on w.account_key = l.account_key and w.path = l.path
    where l.account_key is null
),
told as (
    select account_key, path, receiver, line from listed
    union
    select account_key, path, receiver, line from used
),
nowhere as (
    select a.account_key, '' as path, r.receiver, r.line
    from accounts as a
    inner join receiver_lines as r on a.receiver_group = r.receiver_group
    left join told as t on a.account_key = t.account_key
    where t.account_key is null
)
select account_key, path, receiver, line from told where path <> ''
union
select account_key, '' as path, receiver, line from told
union
select account_key, path, receiver, line from nowhere
order by account_key, path, receiver, line
