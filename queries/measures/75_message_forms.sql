-- purpose: how an account's messages arrive: in which form, how often sent
-- grain:   one row per account, path, receiver, line and format
-- reads:   fact_day, heard_as
-- params:  $from, $until timestamp [UTC]
-- returns: n_past [signals more than four weeks before $until], n_before and
--          n_window [signals]; in the four weeks before $until
--          n_four and n_resend [signals], days_resent, kinds_resent [codes],
--          n_tests and n_tests_resent, n_unknown [signals of no known code],
--          kinds_unknown, days_unknown
with
folded as (
    select
        account_key,
        receiver,
        line,
        path,
        format,
        sum(case
            when last_utc < $until - interval 28 day then n else 0
        end) as n_past,
        sum(case when last_utc < $from then n else 0 end) as n_before,
        sum(case
            when last_utc >= $from and first_utc < $until then n else 0
        end) as n_window,
        min(case
            when last_utc >= $from and first_utc < $until then first_utc
        end) as window_first_utc,
        min(first_utc) as first_utc,
        max(last_utc) as last_utc,
        sum(case
            when last_utc >= $until - interval 28 day then n else 0
        end) as n_four,
        sum(case
            when last_utc >= $until - interval 28 day then n_resend else 0
        end) as n_resend,
        count(distinct case
            when n_resend > 0 and last_utc >= $until - interval 28 day
                then utc_day
        end) as days_resent,
        count(distinct case
            when n_resend > 0 and last_utc >= $until - interval 28 day
                then code
        end) as kinds_resent,
        min(case
            when n_resend > 0 and last_utc >= $until - interval 28 day
                then first_utc
        end) as resent_first_utc,
        sum(case
            when
                code in ('602', '603', '608')
                and last_utc >= $until - interval 28 day
                then n
            else 0
        end) as n_tests,
        sum(case
            when
                code in ('602', '603', '608')
                and last_utc >= $until - interval 28 day
                then n_resend
            else 0
        end) as n_tests_resent,
        sum(case
            when
                event_class = 'unknown'
                and last_utc >= $until - interval 28 day
                then n
            else 0
        end) as n_unknown,
        count(distinct case
            when
                event_class = 'unknown'
                and last_utc >= $until - interval 28 day
                then code || '/' || partition || '/' || zone
        end) as kinds_unknown,
        count(distinct case
            when
                event_class = 'unknown'
                and last_utc >= $until - interval 28 day
                then utc_day
        end) as days_unknown,
        min(case
            when
                event_class = 'unknown'
                and last_utc >= $until - interval 28 day
                then first_utc
        end) as unknown_first_utc
    from fact_day
    where origin <> 'receiver' and format <> 'check_in'
    group by account_key, receiver, line, path, format
)
select
    h.account_key,
    h.path,
    f.receiver,
    f.line,
    f.format,
    sum(f.n_past) as n_past,
    sum(f.n_before) as n_before,
    sum(f.n_window) as n_window,
    min(f.window_first_utc) as window_first_utc,
    min(f.first_utc) as first_utc,
    max(f.last_utc) as last_utc,
    sum(f.n_four) as n_four,
    sum(f.n_resend) as n_resend,
    max(f.days_resent) as days_resent,
    max(f.kinds_resent) as kinds_resent,
    min(f.resent_first_utc) as resent_first_utc,
    sum(f.n_tests) as n_tests,
    sum(f.n_tests_resent) as n_tests_resent,
    sum(f.n_unknown) as n_unknown,
    max(f.kinds_unknown) as kinds_unknown,
    max(f.days_unknown) as days_unknown,
    min(f.unknown_first_utc) as unknown_first_utc
from folded as f
inner join heard_as as h
    on
        f.account_key = h.heard_key
        and f.receiver = h.receiver
        and f.line = h.line
        and f.path = h.stated_path
group by h.account_key, h.path, f.receiver, f.line, f.format
