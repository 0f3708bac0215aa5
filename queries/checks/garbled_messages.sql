-- purpose: an account's messages arrive damaged
-- grain:   one row per account with messages of no known code, or with stray
--          numbers that can only be its own
-- reads:   message_forms, heard, accounts, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [messages in four
--          weeks]
-- Damaged: a Contact ID message whose code is in no table, of varying codes; or
-- a number that is on no roster, heard a few times only, that differs in one
-- digit from this one and from no other account of the same receiver line. A
-- line on which many accounts are damaged is the station's own.
with
positions as (
    select 1 as i union all select 2 as i union all select 3 as i
    union all select 4 as i union all select 5 as i union all select 6 as i
),
ways as (
    select
        account_key,
        receiver,
        line,
        sum(n_four) as n_four,
        sum(case when format = 'contact_id' then n_unknown else 0 end)
            as n_unknown,
        max(case when format = 'contact_id' then kinds_unknown else 0 end)
            as kinds_unknown,
        max(case when format = 'contact_id' then days_unknown else 0 end)
            as days_unknown,
        min(case when format = 'contact_id' then unknown_first_utc end)
            as first_utc
    from message_forms
    group by account_key, receiver, line
),
line_shares as (
    select
        receiver,
        line,
        count(*) as n_accounts,
        count(*) filter (where n_unknown > 0) as n_damaged
    from ways
    where n_four > 0
    group by receiver, line
),
strays as (
    select h.account_key, h.first_utc, h.n_ever, h.days_heard
    from heard as h
    left join accounts as a on h.account_key = a.account_key
    inner join limits as m
        on h.account_key = m.account_key and m.name = 'stray_most'
    where
        a.account_key is null
        and h.account_key not like '%/'
        and h.n_ever <= m.value
        and h.first_utc >= $until - interval 28 day
        and h.first_utc < $until
),
stray_masks as (
    select
        s.account_key,
        s.first_utc,
        s.n_ever,
        s.days_heard,
        w.receiver,
        w.line,
        p.i,
        split_part(s.account_key, '/', 1) || '/'
        || substring(split_part(s.account_key, '/', 2), 1, p.i - 1) || '?'
        || substring(split_part(s.account_key, '/', 2), p.i + 1, 9) as mask
    from strays as s
    inner join ways as w on s.account_key = w.account_key
    cross join positions as p
    where substring(split_part(s.account_key, '/', 2), p.i, 1) <> ''
),
stray_lines as (
    select distinct receiver, line
    from stray_masks
),
account_masks as (
    select
        a.account_key,
        w.receiver,
        w.line,
        p.i,
        split_part(a.account_key, '/', 1) || '/'
        || substring(split_part(a.account_key, '/', 2), 1, p.i - 1) || '?'
        || substring(split_part(a.account_key, '/', 2), p.i + 1, 9) as mask
    from accounts as a
    inner join ways as w on a.account_key = w.account_key
    inner join stray_lines as n
        on w.receiver = n.receiver and w.line = n.line
    cross join positions as p
    where substring(split_part(a.account_key, '/', 2), p.i, 1) <> ''
),
matched as (
    select distinct
        s.account_key as stray_key,
        s.n_ever,
        s.days_heard,
        s.first_utc,
        a.account_key
    from stray_masks as s
    inner join account_masks as a
        on
            s.mask = a.mask
            and s.i = a.i
            and s.receiver = a.receiver
            and s.line = a.line
),
single as (
    select
        stray_key,
        max(account_key) as account_key,
        max(n_ever) as n_ever,
        max(days_heard) as days_heard,
        min(first_utc) as first_utc
    from matched
    group by stray_key
    having count(distinct account_key) = 1
),
attributed as (
    select
        account_key,
        sum(n_ever) as n_stray,
        count(*) as n_numbers,
        greatest(
            max(days_heard), count(distinct date_trunc('day', first_utc))
        ) as days_stray,
        min(first_utc) as first_utc
    from single
    group by account_key
),
whole as (
    select
        w.account_key,
        sum(w.n_four) as n_four,
        sum(w.n_unknown) as n_unknown,
        max(w.kinds_unknown) as kinds_unknown,
        max(w.days_unknown) as days_unknown,
        min(w.first_utc) as first_utc,
        max(case
            when
                s.n_damaged >= f.value
                and s.n_damaged * 100 > m.value * s.n_accounts
                and w.n_unknown > 0
                then 1
            else 0
        end) as is_line
    from ways as w
    inner join line_shares as s
        on w.receiver = s.receiver and w.line = s.line
    inner join limits as m
        on w.account_key = m.account_key and m.name = 'line_percent'
    inner join limits as f
        on w.account_key = f.account_key and f.name = 'line_accounts'
    group by w.account_key
),
judged as (
    select
        w.account_key,
        w.n_four,
        w.n_unknown,
        w.is_line,
        coalesce(t.n_stray, 0) as n_stray,
        w.n_unknown + coalesce(t.n_stray, 0) as n_damaged,
        w.kinds_unknown + coalesce(t.n_numbers, 0) as n_kinds,
        greatest(
            w.days_unknown,
            coalesce(t.days_stray, 0),
            case
                when
                    date_trunc('day', w.first_utc)
                    <> date_trunc('day', t.first_utc)
                    then 2
                else 0
            end
        ) as days,
        least(w.first_utc, t.first_utc) as first_utc,
        l.value as limit_n,
        d.value as limit_days
    from whole as w
    inner join accounts as a on w.account_key = a.account_key
    inner join limits as l
        on w.account_key = l.account_key and l.name = 'messages'
    inner join limits as d
        on w.account_key = d.account_key and d.name = 'days'
    left join attributed as t on w.account_key = t.account_key
    where
        a.monitored
        and (w.n_unknown > 0 or t.account_key is not null)
)
select
    account_key,
    '' as subject,
    case
        when n_damaged < limit_n or days < limit_days then 'sound'
        when is_line = 1 then 'not_judged'
        when n_kinds < 2 then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_damaged < limit_n then 'few damaged messages'
        when days < limit_days then 'all on one day'
        when is_line = 1 then 'many accounts of this receiver line'
        when n_kinds < 2 then 'always the same code: the table may lack it'
        else ''
    end as reason,
    cast(n_damaged as double) as measured,
    limit_n as limit_value,
    'messages' as unit,
    first_utc as since_utc,
    $until as until_utc,
    first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_damaged as evidence_count,
    0 as excused_count,
    case when n_damaged >= 3 * limit_n then 3 else 2 end as grade,
    n_stray as k,
    n_damaged as n
from judged
