-- purpose: what the receivers said of themselves
-- grain:   one row per signal of a receiver's own account
-- reads:   events
-- params:  none
-- returns: power, start-up and line events that explain a silence
select
    account_key,
    utc_day,
    received_utc,
    receiver,
    line,
    qualifier,
    code,
    code_group,
    event_raw,
    source_id,
    line_no
from events
where origin = 'receiver'
order by receiver, received_utc, source_id, line_no
