-- purpose: what an account sent on one UTC day, by box, way and meaning
-- grain:   one row per account, day, receiver, line, path, origin, format,
--          event, qualifier, partition and zone
-- reads:   events
-- params:  none
-- returns: n [signals] without resends, n_resend [signals], first and last;
--          n_copy of n: the same event by a second way, by contact input too
select
    account_key,
    utc_day,
    receiver,
    line,
    path,
    origin,
    format,
    event_class,
    code_group,
    family,
    code,
    qualifier,
    partition,
    zone,
    count(*) filter (where not is_resend) as n,
    count(*) filter (where is_resend) as n_resend,
    count(*) filter (where copy_kind <> '' and not is_resend) as n_copy,
    count(*) filter (where time_doubt <> 'exact') as n_doubt,
    min(received_utc) as first_utc,
    max(received_utc) as last_utc
from events
group by
    account_key, utc_day, receiver, line, path, origin, format, event_class,
    code_group, family, code, qualifier, partition, zone
order by
    account_key, utc_day, receiver, line, path, origin, format, event_class,
    code_group, family, code, qualifier, partition, zone
