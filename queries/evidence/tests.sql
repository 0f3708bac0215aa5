-- purpose: tests of the account in the span, and the due times without one
-- grain:   one row per signal or due time
-- reads:   signals, codes, asked, due
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
    s.path as note
from signals as s
inner join asked as a on s.account_key = a.heard_key
left join codes as c on s.code = c.code and s.code <> ''
where
    s.received_utc >= a.from_utc
    and s.received_utc <= a.until_utc
    and s.received_utc < $as_of
    and s.code in ('601', '602', '603', '608')
union all
select
    t.state as role,
    t.due_utc as at_utc,
    '' as received_wall,
    '' as receiver,
    '' as line,
    '' as event_raw,
    'test due' as label,
    '' as partition,
    '' as zone,
    cast(null as integer) as source_id,
    cast(null as bigint) as line_no,
    '' as raw,
    t.excused_by as note
from due as t
inner join asked as a on t.account_key = a.account_key
where t.due_utc >= a.from_utc and t.due_utc <= a.until_utc
order by at_utc, source_id, line_no
