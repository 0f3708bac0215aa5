-- purpose: silent accounts whose test clock goes on under another's number
-- grain:   one row per account with two timers and silent account
-- reads:   two_combs, fallen_silent, accounts, calendar
-- params:  none
-- returns: peer_key fell silent when the later timer began, kept its period,
--          and that timer's first test lies a whole number of periods after
--          the silent one's last, to a quarter of an hour; an hour more or less
--          is granted where the clocks changed between them
with
later as (
    select
        account_key,
        origin,
        case
            when first_a_utc > first_b_utc then first_a_utc else first_b_utc
        end as first_utc,
        case
            when first_a_utc > first_b_utc then period_a_s else period_b_s
        end as period_s
    from two_combs
),
placed as (
    select
        l.account_key,
        l.origin,
        t.account_key as peer_key,
        l.first_utc,
        t.last_utc,
        b.offset_s <> c.offset_s as is_over_change,
        epoch(l.first_utc) - epoch(t.last_test_utc) as gap_s,
        round((epoch(l.first_utc) - epoch(t.last_test_utc)) / l.period_s)
        * l.period_s as whole_s
    from later as l
    inner join accounts as a on l.account_key = a.account_key
    inner join fallen_silent as t
        on
            a.receiver_group = t.receiver_group
            and l.period_s = t.test_s
            and l.account_key <> t.account_key
    inner join calendar as b
        on t.last_test_utc >= b.from_utc and t.last_test_utc < b.until_utc
    inner join calendar as c
        on l.first_utc >= c.from_utc and l.first_utc < c.until_utc
    where
        t.last_test_utc is not null
        and l.first_utc > t.last_test_utc
        and epoch(l.first_utc) - epoch(t.last_utc) between -86400 and 259200
)
select
    account_key,
    origin,
    peer_key,
    first_utc,
    last_utc
from placed
where
    gap_s - whole_s between -900 and 900
    or is_over_change and gap_s - whole_s between 2700 and 4500
    or is_over_change and gap_s - whole_s between -4500 and -2700
qualify
    row_number() over (
        partition by account_key, origin order by peer_key
    ) = 1
