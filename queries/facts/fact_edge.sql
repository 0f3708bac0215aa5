-- purpose: the edges of conditions: what began and what ended, resends folded
-- grain:   one row per event, status report or restore of a restorable code,
--          and per further family that a two-letter restore ends as well
-- reads:   events, sia_closes
-- params:  none
-- returns: qualifier E began, P still present, R restored; family joins the
--          codes that one condition may change between with the arming state;
--          copy_kind as in events: told by a second way
with
plain as (
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
        line_no,
        copy_kind
    from events
    where
        restorable = 'yes'
        and qualifier in ('E', 'P', 'R')
        and not is_resend
),
-- One xR may end an alarm and a trouble; its own code names only one of them.
also as (
    select
        e.account_key,
        e.utc_day,
        e.received_utc,
        'R' as qualifier,
        s.code,
        s.family,
        s.code_group,
        s.event_class,
        e.partition,
        e.zone,
        e.receiver,
        e.line,
        e.path,
        e.origin,
        e.format,
        e.time_doubt,
        e.source_id,
        e.line_no,
        e.copy_kind
    from events as e
    inner join sia_closes as s on e.event_raw = s.restore_code
    where
        e.format = 'sia'
        and not e.is_resend
        and (s.family <> e.family or e.restorable <> 'yes')
)
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
    line_no,
    copy_kind
from plain
union all
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
    line_no,
    copy_kind
from also
order by account_key, received_utc, source_id, line_no
