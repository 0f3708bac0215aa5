-- purpose: every loss in every group that its account belongs to
-- grain:   one row per group and loss
-- reads:   losses, places, line_holes, calendar
-- params:  none
-- returns: local_s [s] the local time at which it began, as a clock there
--          counts. Losses in hours that the log lacks, or in the backlog after
--          them, are left out: they say nothing of their time.
--          Power is shared by area, exchange, number block or dealer; a phone
--          line also by its network and receiver line; another path by these
--          and by its kind, but not by exchange
with
seen as (
    select
        l.*,
        h.receiver as lost_receiver
    from losses as l
    left join line_holes as h
        on
            l.receiver = h.receiver
            and l.line = h.line
            and l.from_utc >= h.from_utc
            and l.from_utc < h.until_utc
)
select distinct
    p.grouping_kind,
    p.name,
    p.site,
    s.account_key,
    s.path,
    s.sign,
    s.is_told,
    s.from_utc,
    s.until_utc,
    epoch(s.from_utc) + c.offset_s as local_s
from seen as s
inner join places as p
    on
        s.account_key = p.account_key
        and (p.path = '' or p.path = s.path)
inner join calendar as c
    on s.from_utc >= c.from_utc and s.from_utc < c.until_utc
where
    s.lost_receiver is null
    and (
        (
            s.sign = 'power'
            and p.grouping_kind in (
                'area', 'exchange', 'account prefix', 'dealer'
            )
        )
        or s.sign = 'phone'
        or (
            s.sign in ('path', 'check_in')
            and p.grouping_kind <> 'exchange'
        )
    )
