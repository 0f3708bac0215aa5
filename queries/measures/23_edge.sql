-- purpose: beginnings and ends of conditions with owner, path, origin settled
-- grain:   as fact_edge
-- reads:   fact_edge, heard_as, zones
-- params:  none
-- returns: origin as in day
select
    h.account_key,
    h.path,
    case
        when f.origin <> '' then f.origin
        when f.format in ('contact_input', 'check_in') then 'communicator'
        when z.kind in ('communicator', 'contact_input') then 'communicator'
        else 'unknown'
    end as origin,
    f.received_utc,
    f.qualifier,
    f.code,
    f.family,
    f.code_group,
    f.event_class,
    f.partition,
    f.zone,
    f.receiver,
    f.line,
    f.format,
    f.time_doubt,
    f.source_id,
    f.line_no,
    f.copy_kind
from fact_edge as f
inner join heard_as as h
    on
        f.account_key = h.heard_key
        and f.receiver = h.receiver
        and f.line = h.line
        and f.path = h.stated_path
left join zones as z
    on
        h.account_key = z.account_key
        and f.partition = z.partition
        and f.zone = z.zone
        and f.zone <> ''
        and z.kind <> 'user'
