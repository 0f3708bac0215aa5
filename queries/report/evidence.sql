-- purpose: the signals of the accounts that have a page
-- grain:   one row per signal, check-ins left out
-- reads:   page_signals, page_events, asked_keys, all_heard_as, all_zones,
--          codes, source_names
-- params:  $from, $as_of timestamp [UTC]
-- returns: signals from 28 days before the window up to $as_of, with the
--          source's name and line; path and origin are those that the audit
--          settled on (measures/heard_as, measures/day)
select
    k.page_no,
    k.account_key,
    s.received_utc,
    s.received_wall,
    s.time_doubt,
    s.receiver,
    s.line,
    s.event_raw,
    s.qualifier,
    s.code,
    coalesce(c.label, '') as label,
    e.event_class,
    e.test_kind,
    s.partition,
    s.zone,
    case when h.told then h.path else s.path end as path,
    case
        when s.origin <> '' then s.origin
        when s.format = 'contact_input' then 'communicator'
        when z.kind in ('communicator', 'contact_input') then 'communicator'
        else 'unknown'
    end as origin,
    s.format,
    e.is_resend,
    n.name as source,
    s.line_no,
    s.raw
from page_signals as s
inner join page_events as e
    on
        s.source_id = e.source_id
        and s.line_no = e.line_no
        and s.part = e.part
inner join asked_keys as k on s.account_key = k.heard_key
left join all_heard_as as h
    on
        s.account_key = h.heard_key
        and s.receiver = h.receiver
        and s.line = h.line
        and s.path = h.stated_path
left join all_zones as z
    on
        k.account_key = z.account_key
        and s.partition = z.partition
        and s.zone = z.zone
        and s.zone <> ''
        and z.kind <> 'user'
left join codes as c on s.code = c.code and s.code <> ''
left join source_names as n on s.source_id = n.source_id
where
    s.format <> 'check_in'
    and s.received_utc >= $from - interval 28 day
    and s.received_utc < $as_of
order by k.page_no, s.received_utc, s.source_id, s.line_no,
    s.part
