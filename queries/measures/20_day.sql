-- purpose: day facts with owner, path and origin settled
-- grain:   as fact_day
-- reads:   fact_day, heard_as, zones
-- params:  none
-- returns: origin panel, communicator, network, receiver or unknown: stated in
--          the log, or by the format, or because the roster says that the zone
--          is the transmitter's own; never guessed
select
    h.account_key,
    h.path,
    case
        when f.origin <> '' then f.origin
        when f.format in ('contact_input', 'check_in') then 'communicator'
        when z.kind in ('communicator', 'contact_input') then 'communicator'
        else 'unknown'
    end as origin,
    f.utc_day,
    f.format,
    f.code_group,
    f.code,
    f.qualifier,
    f.n,
    f.n_copy,
    f.first_utc,
    f.last_utc
from fact_day as f
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
