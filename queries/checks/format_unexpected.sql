-- purpose: an account sends in another format than it always did
-- grain:   one row per account and path heard in the window
-- reads:   message_forms, accounts, limits
-- params:  $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [signals]
-- By path, for two paths may speak two formats. What is new stays new for four
-- weeks, for it does not end by being there last week too. Where many accounts
-- of a receiver line change together, the receiver or its export changed.
with
forms as (
    select
        account_key,
        path,
        format,
        sum(n_past) as n_past,
        sum(n_before) as n_before,
        sum(n_window) as n_window,
        min(first_utc) as first_utc
    from message_forms
    where format <> 'contact_input'
    group by account_key, path, format
),
pasts as (
    select
        account_key,
        path,
        sum(n_past) as n_past,
        sum(n_before) as n_before,
        sum(n_window) as n_window
    from forms
    group by account_key, path
),
fresh as (
    select f.*
    from forms as f
    inner join pasts as p
        on f.account_key = p.account_key and f.path = p.path
    inner join limits as b
        on f.account_key = b.account_key and b.name = 'before'
    where
        f.n_window > 0
        and (
            (f.n_before = 0 and p.n_before > 0)
            or (f.n_past = 0 and p.n_past >= b.value)
        )
),
moved as (
    select m.receiver, m.line, count(distinct m.account_key) as n_fresh
    from message_forms as m
    inner join fresh as f
        on
            m.account_key = f.account_key
            and m.path = f.path
            and m.format = f.format
    where m.n_window > 0
    group by m.receiver, m.line
),
used as (
    select receiver, line, count(distinct account_key) as n_accounts
    from message_forms
    where n_window > 0
    group by receiver, line
),
shifted as (
    select distinct m.account_key, m.path
    from message_forms as m
    inner join moved as v on m.receiver = v.receiver and m.line = v.line
    inner join used as u on m.receiver = u.receiver and m.line = u.line
    inner join limits as c
        on m.account_key = c.account_key and c.name = 'line_accounts'
    inner join limits as p
        on m.account_key = p.account_key and p.name = 'line_percent'
    where
        v.n_fresh >= c.value
        and v.n_fresh * 100 > p.value * u.n_accounts
),
newest as (
    select
        account_key,
        path,
        sum(n_window) as n_fresh,
        min(format) as format,
        min(first_utc) as first_utc
    from fresh
    group by account_key, path
),
judged as (
    select
        p.account_key,
        p.path,
        p.n_before,
        p.n_window,
        coalesce(n.n_fresh, 0) as n_fresh,
        coalesce(n.format, '') as format,
        n.first_utc,
        l.value as limit_n,
        b.value as limit_before,
        s.account_key is not null as is_shifted
    from pasts as p
    inner join accounts as a on p.account_key = a.account_key
    inner join limits as l
        on p.account_key = l.account_key and l.name = 'signals'
    inner join limits as b
        on p.account_key = b.account_key and b.name = 'before'
    left join newest as n
        on p.account_key = n.account_key and p.path = n.path
    left join shifted as s
        on p.account_key = s.account_key and p.path = s.path
    where a.monitored and p.n_window > 0
)
select
    account_key,
    case when path = '' then '' else 'path=' || path end as subject,
    case
        when n_before < limit_before then 'not_judged'
        when n_fresh < limit_n then 'sound'
        when is_shifted then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_before < limit_before then 'too short a past'
        when n_fresh < limit_n and n_fresh > 0 then 'few signals'
        when n_fresh < limit_n then ''
        when is_shifted then 'many accounts of this receiver line changed'
        else 'now also ' || format
    end as reason,
    cast(n_fresh as double) as measured,
    limit_n as limit_value,
    'signals' as unit,
    coalesce(first_utc, cast($from as timestamp)) as since_utc,
    cast($until as timestamp) as until_utc,
    coalesce(first_utc, cast($from as timestamp)) as evidence_from_utc,
    cast($until as timestamp) as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_fresh as evidence_count,
    0 as excused_count,
    case when n_fresh = n_window then 3 else 2 end as grade,
    n_fresh as k,
    n_window as n
from judged
