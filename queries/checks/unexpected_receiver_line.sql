-- purpose: an account comes in on a receiver line the roster does not name
-- grain:   one row per monitored account and receiver line of the window
-- reads:   used_lines, accounts, limits
-- params:  none
-- returns: the row contract of a check; measured and limit [signals]
-- A neighbour line of a listed receiver takes calls when the listed one is
-- busy: there a share of the account's signals must come that way. Where many
-- numbers do the same, a receiver, a forwarding or the roster is to be asked.
with
strays as (
    select
        u.*,
        n.value as least,
        s.value as least_share,
        m.value as many,
        u.n * 1.0 / greatest(u.n_account, 1) as share
    from used_lines as u
    inner join accounts as a on u.account_key = a.account_key
    inner join limits as n
        on u.account_key = n.account_key and n.name = 'signals'
    inner join limits as s
        on u.account_key = s.account_key and s.name = 'share'
    inner join limits as m
        on u.account_key = m.account_key and m.name = 'accounts'
    where a.monitored and u.n > 0
),
weighed as (
    select
        *,
        case
            when is_listed or not lists_any then 0
            when is_own_receiver
                then case when n >= least and share >= least_share then 1
                    else 0 end
            when n >= least or n_alarms > 0 then 1
            else 0
        end as is_stray
    from strays
),
crowds as (
    select
        receiver,
        line,
        sum(is_stray) as n_stray,
        count(*) as n_heard
    from weighed
    group by receiver, line
),
judged as (
    select
        w.*,
        case
            when not w.lists_any then 'roster names no receiver line'
            when w.is_listed then 'sound'
            when
                w.is_stray = 1 and c.n_stray >= w.many
                and c.n_stray * 10 >= c.n_heard
                then 'many numbers came in this way: ask of the line first'
            when w.is_stray = 1 then 'finding'
            when w.is_own_receiver then 'spill'
            else 'too few signals on this line'
        end as state
    from weighed as w
    inner join crowds as c
        on w.receiver = c.receiver and w.line = c.line
)
select
    account_key,
    'line=' || receiver || '/' || line as subject,
    case
        when state = 'finding' then 'finding'
        when state in ('sound', 'spill') then 'sound'
        else 'not_judged'
    end as verdict,
    case
        when state in ('finding', 'sound') then ''
        when state = 'spill' then 'now and then, beside a listed line'
        else state
    end as reason,
    cast(n as double) as measured,
    least as limit_value,
    'signals' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    last_utc as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n as evidence_count,
    0 as excused_count,
    case
        when share > 0.9 or n >= 3 * least then 3
        else 2
    end as grade,
    n as k,
    n_account as n,
    case when n_alarms > 0 then 1 else 0 end as aggravated
from judged
