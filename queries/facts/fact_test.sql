-- purpose: test signals, one by one, resends folded
-- grain:   one row per test signal
-- reads:   events
-- params:  none
-- returns: test_kind periodic (602, 603, 608) or manual (601), with its way in
select
    account_key,
    utc_day,
    received_utc,
    code,
    test_kind,
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
    test_kind in ('periodic', 'manual')
    and qualifier in ('E', 'P')
    and not is_resend
order by account_key, received_utc, source_id, line_no
