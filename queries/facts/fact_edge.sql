-- purpose: the edges of conditions: what began and what ended, resends folded
-- grain:   one row per event, status report or restore of a restorable code
-- reads:   events
-- params:  none
-- returns: qualifier E began, P still present, R restored; family joins the
--          codes that one condition may change between with the arming state
select
    account_key,
    utc_day,
    received_utc,
    qualifier,
    code,
    family,
    code_group,
    event_class,
    partition,
    zone,
    receiver,
    line,
    path,
    origin,
    format,
    time_doubt,
    source_id,
    line_no
from events
where
    restorable = 'yes'
    and qualifier in ('E', 'P', 'R')
    and not is_resend
order by account_key, received_utc, source_id, line_no
