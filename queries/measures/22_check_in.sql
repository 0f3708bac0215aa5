-- purpose: check-ins with owner and path settled
-- grain:   as fact_check_in
-- reads:   fact_check_in, heard_as
-- params:  none
-- returns: when a path showed itself alive
select
    h.account_key,
    h.path,
    f.received_utc,
    f.receiver,
    f.line,
    f.time_doubt
from fact_check_in as f
inner join heard_as as h
    on
        f.account_key = h.heard_key
        and f.receiver = h.receiver
        and f.line = h.line
        and f.path = h.stated_path
