-- purpose: numbers heard that no roster row knows, and what they look like
-- grain:   one row per stray number heard in the window
-- reads:   heard, accounts, day_classes, test_rhythm
-- params:  none
-- returns: which kinds of system its codes speak of; its test period [s]
with
kinds as (
    select
        account_key,
        max(case when code_group = 'alarm_fire' then 1 else 0 end) as has_fire,
        max(case
            when code_group in ('alarm_burglary', 'open_close') then 1
            else 0
        end) as has_burglary
    from day_classes
    group by account_key
),
clock as (
    select
        account_key,
        min(period_s) as period_s,
        min(first_utc) as first_test_utc
    from test_rhythm
    group by account_key
)
select
    h.account_key,
    split_part(h.account_key, '/', 1) as receiver_group,
    split_part(h.account_key, '/', 2) as account,
    h.first_utc,
    h.last_utc,
    h.n_ever,
    h.n_alarm_window,
    coalesce(k.has_fire, 0) as has_fire,
    coalesce(k.has_burglary, 0) as has_burglary,
    c.period_s,
    c.first_test_utc
from heard as h
left join accounts as a on h.account_key = a.account_key
left join kinds as k on h.account_key = k.account_key
left join clock as c on h.account_key = c.account_key
where
    a.account_key is null
    and h.n_window > 0
    and h.account_key not like '%/'
