-- purpose: whose signal it is, and which of the account's paths carried it
-- grain:   one row per heard number, receiver, line and stated path
-- reads:   ways, paths, receiver_kinds
-- params:  none
-- returns: account_key the account it belongs to (roster's reports_as comes
--          first), path its roster id or '' where the log cannot tell, told
--          false where an account has several paths and they look alike
with
alias as (
    select reports_as_key, account_key as owner_key, path as owner_path
    from paths
    where reports_as_key <> account_key
),
owned as (
    select
        w.account_key as heard_key,
        w.receiver,
        w.line,
        w.path as stated_path,
        coalesce(a.owner_key, w.account_key) as account_key,
        coalesce(a.owner_path, '') as alias_path
    from ways as w
    left join alias as a on w.account_key = a.reports_as_key
),
path_counts as (
    select account_key, count(*) as n_paths
    from paths
    group by account_key
),
candidate as (
    select
        o.heard_key, o.receiver, o.line, o.stated_path, p.path, 1 as rank_no
    from owned as o
    inner join paths as p
        on o.account_key = p.account_key and o.alias_path = p.path
    where o.alias_path <> ''
    union all
    select
        o.heard_key, o.receiver, o.line, o.stated_path, p.path, 2 as rank_no
    from owned as o
    inner join paths as p
        on o.account_key = p.account_key and o.stated_path = p.path
    where o.stated_path <> ''
    union all
    select
        o.heard_key, o.receiver, o.line, o.stated_path, p.path, 3 as rank_no
    from owned as o
    inner join paths as p
        on
            o.account_key = p.account_key
            and o.receiver = p.receiver
            and o.line = p.line
    where p.receiver <> '' and p.line <> ''
    union all
    select
        o.heard_key, o.receiver, o.line, o.stated_path, p.path, 4 as rank_no
    from owned as o
    inner join paths as p
        on o.account_key = p.account_key and o.receiver = p.receiver
    where p.receiver <> '' and p.line = ''
    union all
    select
        o.heard_key, o.receiver, o.line, o.stated_path, p.path, 5 as rank_no
    from owned as o
    inner join receiver_kinds as k
        on o.receiver = k.receiver and o.line = k.line
    inner join paths as p
        on o.account_key = p.account_key and k.kind = p.kind
    union all
    select
        o.heard_key, o.receiver, o.line, o.stated_path, p.path, 6 as rank_no
    from owned as o
    inner join path_counts as c
        on o.account_key = c.account_key and c.n_paths = 1
    inner join paths as p on o.account_key = p.account_key
),
best as (
    select
        heard_key, receiver, line, stated_path, path, rank_no,
        min(rank_no) over (
            partition by heard_key, receiver, line, stated_path
        ) as best_rank
    from candidate
),
chosen as (
    select
        heard_key,
        receiver,
        line,
        stated_path,
        min(path) as path,
        count(distinct path) as n_fitting
    from best
    where rank_no = best_rank
    group by heard_key, receiver, line, stated_path
)
select
    o.heard_key,
    o.receiver,
    o.line,
    o.stated_path,
    o.account_key,
    case when c.n_fitting = 1 then c.path else '' end as path,
    c.n_fitting is not null and c.n_fitting = 1 as told
from owned as o
left join chosen as c
    on
        o.heard_key = c.heard_key
        and o.receiver = c.receiver
        and o.line = c.line
        and o.stated_path = c.stated_path
order by o.heard_key, o.receiver, o.line, o.stated_path
