-- purpose: beginnings and restores of a family of codes in the span
-- grain:   one row per signal or due time
-- reads:   signals, codes, asked
-- params:  $as_of timestamp [UTC]
-- returns: role event, missed or excused; the signal with its source and line
select
    'event' as role,
    s.received_utc as at_utc,
    s.received_wall,
    s.receiver,
    s.line,
    s.event_raw,
    coalesce(c.label, '') as label,
    s.partition,
    s.zone,
    s.source_id,
    s.line_no,
    s.raw,
    '' as note
from signals as s
inner join asked as a on s.account_key = a.heard_key
left join codes as c on s.code = c.code and s.code <> ''
where
    s.received_utc >= a.from_utc
    and s.received_utc <= a.until_utc
    and s.received_utc < $as_of
    and (
        (a.family <> '' and coalesce(c.family, '') = a.family)
        or (a.family = '' and s.code in ('351', '352'))
    )
    and (a.zone = '' or s.zone = a.zone)
order by at_utc, source_id, line_no
