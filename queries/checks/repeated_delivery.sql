-- purpose: the same message again and again: the acknowledgement is not heard
-- grain:   one row per account with enough messages in four weeks
-- reads:   message_forms, accounts, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [% of messages]
-- Resends are equal messages within a minute and no restore between. Tests must
-- be among them, or two kinds of message: one kind alone may be one that the
-- receiver does not accept. A receiver line on which many accounts repeat is
-- the station's own.
with
by_line as (
    select
        account_key,
        receiver,
        line,
        sum(n_four) as n_first,
        sum(n_resend) as n_resend
    from message_forms
    where format <> 'contact_input'
    group by account_key, receiver, line
),
line_shares as (
    select
        b.receiver,
        b.line,
        count(*) as n_accounts,
        count(*) filter (
            where b.n_resend * 100 > l.value * (b.n_first + b.n_resend)
        ) as n_repeating
    from by_line as b
    inner join limits as l
        on b.account_key = l.account_key and l.name = 'percent'
    where b.n_first > 0
    group by b.receiver, b.line
),
suspect_lines as (
    select b.account_key, max(s.n_repeating) as n_repeating
    from by_line as b
    inner join line_shares as s
        on b.receiver = s.receiver and b.line = s.line
    inner join limits as m
        on b.account_key = m.account_key and m.name = 'line_percent'
    inner join limits as f
        on b.account_key = f.account_key and f.name = 'line_accounts'
    where
        b.n_resend > 0
        and s.n_repeating >= f.value
        and s.n_repeating * 100 > m.value * s.n_accounts
    group by b.account_key
),
whole as (
    select
        account_key,
        sum(n_four) as n_first,
        sum(n_resend) as n_resend,
        max(days_resent) as days_resent,
        max(kinds_resent) as kinds_resent,
        sum(n_tests_resent) as n_tests_resent,
        min(resent_first_utc) as first_utc,
        max(last_utc) as last_utc
    from message_forms
    where format <> 'contact_input'
    group by account_key
),
judged as (
    select
        w.*,
        w.n_first + w.n_resend as n_all,
        100.0 * w.n_resend / (w.n_first + w.n_resend) as percent,
        l.value as limit_percent,
        e.value as limit_n,
        r.value as limit_resends,
        d.value as limit_days,
        coalesce(s.n_repeating, 0) as n_repeating
    from whole as w
    inner join accounts as a on w.account_key = a.account_key
    inner join limits as l
        on w.account_key = l.account_key and l.name = 'percent'
    inner join limits as e
        on w.account_key = e.account_key and e.name = 'messages'
    inner join limits as r
        on w.account_key = r.account_key and r.name = 'resends'
    inner join limits as d
        on w.account_key = d.account_key and d.name = 'days'
    left join suspect_lines as s on w.account_key = s.account_key
    where a.monitored and w.n_first > 0
),
weighed as (
    select
        *,
        percent > limit_percent
        and n_resend >= limit_resends
        and days_resent >= limit_days as is_over
    from judged
)
select
    account_key,
    '' as subject,
    case
        when n_all < limit_n then 'not_judged'
        when not is_over then 'sound'
        when n_repeating > 0 then 'not_judged'
        when n_tests_resent = 0 and kinds_resent < 2 then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_all < limit_n then 'too few messages'
        when not is_over and percent > limit_percent then 'few resends'
        when not is_over then ''
        when n_repeating > 0 then 'the whole receiver line repeats'
        when n_tests_resent = 0 and kinds_resent < 2
            then 'one kind of message only: the receiver may not accept it'
        else ''
    end as reason,
    percent as measured,
    limit_percent as limit_value,
    '% of messages' as unit,
    coalesce(first_utc, last_utc) as since_utc,
    $until as until_utc,
    coalesce(first_utc, last_utc) as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_resend as evidence_count,
    0 as excused_count,
    case when n_tests_resent > 0 and percent > 2 * limit_percent then 3 else 2
    end as grade,
    n_resend as k,
    n_all as n
from weighed
