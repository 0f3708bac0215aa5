-- purpose: how long alarms took that state when they were sent
-- grain:   one row per alarm or supervisory event of the last four weeks
-- reads:   fact_stated, heard_as, calendar, panel_clock
-- params:  $until timestamp [UTC]
-- returns: delay_s [s] beyond the account's usual difference of clocks and
--          beyond the least of that day, whichever is less: a clock that is
--          wrong, or was set in between, is no delay; spread_s [s] how much
--          the usual difference wanders; n_days it rests on
select
    h.account_key,
    h.path,
    f.received_utc,
    f.code,
    f.code_group,
    least(
        case
            when f.stated = 'local' then f.offset_s + c.offset_s
            else f.offset_s
        end - p.offset_s,
        f.offset_s - f.day_low_s
    ) as delay_s,
    p.spread_s,
    p.n_days
from fact_stated as f
inner join heard_as as h
    on
        f.account_key = h.heard_key
        and f.receiver = h.receiver
        and f.line = h.line
        and f.path = h.stated_path
inner join calendar as c
    on f.received_utc >= c.from_utc and f.received_utc < c.until_utc
inner join panel_clock as p
    on h.account_key = p.account_key and f.receiver = p.receiver
where
    f.received_utc >= $until - interval 28 day
    and f.received_utc < $until
