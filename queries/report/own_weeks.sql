-- purpose: how many signals some accounts sent in each week before $until
-- grain:   one row per asked account and week with a signal, 13 weeks at most
-- reads:   all_fact_day, all_heard_as, told_accounts
-- params:  $until timestamp [UTC]
-- returns: weeks_ago 0 = the last seven days; n signals, check-ins not counted
with
owned as (
    select distinct h.account_key, h.heard_key
    from all_heard_as as h
    inner join told_accounts as t on h.account_key = t.account_key
)
select
    o.account_key,
    cast(
        floor((epoch($until) - epoch(f.first_utc)) / 604800) as bigint
    ) as weeks_ago,
    cast(sum(f.n) as bigint) as n
from all_fact_day as f
inner join owned as o on f.account_key = o.heard_key
where
    f.format <> 'check_in'
    and f.first_utc < $until
    and f.first_utc >= $until - interval 91 day
group by
    o.account_key, floor((epoch($until) - epoch(f.first_utc)) / 604800)
order by 1, 2
