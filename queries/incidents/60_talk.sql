-- purpose: who reported something new on which receiver line, and when
-- grain:   one row per receiver line, account and quarter of an hour
-- reads:   fact_edge, heard_as, accounts, on_test, line_holes, calendar
-- params:  $from timestamp [UTC]
-- returns: the first beginning of a condition in that quarter hour; local_s [s]
--          as a local clock counts. On test, and in hours that the log lacks
--          or the backlog after them, left out. From 28 days before the window
with
said as (
    select
        f.receiver,
        f.line,
        h.account_key,
        a.site,
        min(f.received_utc) as from_utc
    from fact_edge as f
    inner join heard_as as h
        on
            f.account_key = h.heard_key
            and f.receiver = h.receiver
            and f.line = h.line
            and f.path = h.stated_path
    inner join accounts as a on h.account_key = a.account_key
    left join on_test as t
        on
            h.account_key = t.account_key
            and f.received_utc >= t.from_utc
            and (t.until_utc is null or f.received_utc < t.until_utc)
    where
        a.monitored
        and f.qualifier = 'E'
        and f.received_utc >= $from - interval 28 day
        and t.account_key is null
    group by
        f.receiver, f.line, h.account_key, a.site,
        floor(epoch(f.received_utc) / 900)
)
select
    s.receiver,
    s.line,
    s.account_key,
    s.site,
    s.from_utc,
    epoch(s.from_utc) + c.offset_s as local_s
from said as s
inner join calendar as c
    on s.from_utc >= c.from_utc and s.from_utc < c.until_utc
left join line_holes as h
    on
        s.receiver = h.receiver
        and s.line = h.line
        and s.from_utc >= h.from_utc
        and s.from_utc < h.until_utc
where h.receiver is null
