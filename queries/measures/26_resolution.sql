-- purpose: how fine the times of an account's log are
-- grain:   one row per account whose log is coarser than a second in the window
-- reads:   coarse_lines, fact_day, heard_as
-- params:  $from, $until timestamp [UTC]
-- returns: resolution_s [s] the coarsest of the exports whose receiver lines
--          carried the account: 60 where they write whole minutes only
select
    h.account_key,
    max(c.resolution_s) as resolution_s
from coarse_lines as c
inner join fact_day as f
    on
        c.receiver = f.receiver
        and c.line = f.line
        and f.first_utc <= c.until_utc
        and f.last_utc >= c.from_utc
inner join heard_as as h
    on
        f.account_key = h.heard_key
        and f.receiver = h.receiver
        and f.line = h.line
        and f.path = h.stated_path
where f.last_utc >= $from and f.first_utc < $until
group by h.account_key
order by h.account_key
