-- purpose: codes that come once a day at most, and when: a clock may drive them
-- grain:   one row per asked account, code, point and day of five weeks
-- reads:   all_fact_day, all_heard_as, told_accounts, codes
-- params:  $until timestamp [UTC]
-- returns: when it came. Left out are periodic tests, whose clock is measured
--          elsewhere, check-ins, and openings and closings: people keep hours
with
owned as (
    select distinct h.account_key, h.heard_key
    from all_heard_as as h
    inner join told_accounts as t on h.account_key = t.account_key
)
select
    o.account_key,
    f.qualifier || f.code as code,
    f.partition || '/' || f.zone as point,
    f.first_utc as received_utc
from all_fact_day as f
inner join owned as o on f.account_key = o.heard_key
left join codes as c on f.code = c.code
where
    f.format <> 'check_in'
    and f.code_group <> 'open_close'
    and f.code <> ''
    and coalesce(c.test_kind, '') <> 'periodic'
    and f.n = 1
    and f.first_utc < $until
    and f.first_utc >= $until - interval 35 day
order by 1, 2, 3, 4
