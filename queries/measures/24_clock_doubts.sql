-- purpose: accounts heard while the clock of their receiver was in doubt
-- grain:   one row per account, receiver and span of doubt
-- reads:   order_breaks, fact_day, heard_as
-- params:  none
-- returns: the span from the time after a step back to the time before it, and
--          the step in words; a day's signals of one kind count as a whole
select distinct
    h.account_key,
    b.receiver,
    b.from_utc,
    b.until_utc,
    b.step
from order_breaks as b
inner join fact_day as f
    on
        b.receiver = f.receiver
        and f.first_utc <= b.until_utc
        and f.last_utc >= b.from_utc
inner join heard_as as h
    on
        f.account_key = h.heard_key
        and f.receiver = h.receiver
        and f.line = h.line
        and f.path = h.stated_path
order by h.account_key, b.from_utc, b.receiver
