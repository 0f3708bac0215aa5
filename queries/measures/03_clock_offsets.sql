-- purpose: how a receiver's clock stands beside those that send to it
-- grain:   one row per receiver heard with sending times of 20 accounts or more
-- reads:   fact_clock
-- params:  $as_of timestamp [UTC]
-- returns: offset_s [s] the median over accounts of each account's median over
--          its days of the last four weeks, above 0 the receiver is ahead;
--          n_accounts; spread_s [s] the median distance from it. 20: house
with
sender as (
    select receiver, account_key, median(offset_s) as offset_s
    from fact_clock
    where stated = 'utc' and utc_day >= $as_of - interval 28 day
    group by receiver, account_key
),
centre as (
    select receiver, median(offset_s) as offset_s, count(*) as n_accounts
    from sender
    group by receiver
    having count(*) >= 20
)
select
    c.receiver,
    c.offset_s,
    c.n_accounts,
    median(
        greatest(s.offset_s - c.offset_s, c.offset_s - s.offset_s)
    ) as spread_s
from centre as c
inner join sender as s on c.receiver = s.receiver
group by c.receiver, c.offset_s, c.n_accounts
order by c.receiver
