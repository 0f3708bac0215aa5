-- purpose: signals under a number that transmitters have before programming
-- grain:   one row per default number heard in the window
-- reads:   heard, accounts, default_accounts, day_classes, two_combs, life,
--          limits
-- params:  none
-- returns: the row contract of a check; measured and limit [signals]
-- A rostered account that happens to have such a number is sound as long as it
-- shows one life: two timers of one box at once make it two.
with
seen as (
    select
        h.account_key,
        h.first_utc,
        h.last_utc,
        h.n_window,
        h.n_alarm_window,
        l.value as least,
        a.account_key is not null as is_listed
    from heard as h
    inner join default_accounts as d
        on split_part(h.account_key, '/', 2) = d.account
    inner join limits as l
        on h.account_key = l.account_key and l.name = 'signals'
    left join accounts as a on h.account_key = a.account_key
    where h.n_window > 0
),
lives as (
    select account_key, count(*) as n_combs
    from two_combs
    where cycles >= 8
    group by account_key
),
kinds as (
    select
        s.account_key,
        sum(case
            when d.code_group in ('power', 'path', 'trouble', 'other') then 0
            else 1
        end) as n_of_sites
    from seen as s
    inner join day_classes as d on s.account_key = d.account_key
    group by s.account_key
),
tests as (
    select account_key, sum(n) as n_tests
    from life
    where sign = 'test'
    group by account_key
),
judged as (
    select
        s.*,
        coalesce(v.n_combs, 0) as n_combs,
        coalesce(t.n_tests, 0) as n_tests,
        case
            when s.is_listed and coalesce(v.n_combs, 0) = 0 then 'sound'
            when s.is_listed then 'finding'
            when s.n_window < s.least then 'too few signals'
            when
                coalesce(t.n_tests, 0) = 0 and coalesce(k.n_of_sites, 0) = 0
                then 'may be a receiver speaking of itself'
            else 'finding'
        end as state
    from seen as s
    left join lives as v on s.account_key = v.account_key
    left join kinds as k on s.account_key = k.account_key
    left join tests as t on s.account_key = t.account_key
)
select
    account_key,
    '' as subject,
    case
        when state in ('sound', 'finding') then state else 'not_judged'
    end as verdict,
    case when state in ('sound', 'finding') then '' else state end as reason,
    cast(n_window as double) as measured,
    least as limit_value,
    'signals' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    last_utc as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_window as evidence_count,
    0 as excused_count,
    case when n_tests > 0 and not is_listed then 3 else 2 end as grade,
    n_alarm_window as k,
    n_window as n,
    case when n_alarm_window > 0 then 1 else 0 end as aggravated
from judged
