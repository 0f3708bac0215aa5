-- purpose: check-ins on either side of a silence, and reported losses
-- grain:   one row per signal or due time
-- reads:   signals, codes, asked
-- params:  $as_of timestamp [UTC]
-- returns: role event, missed or excused; the signal with its source and line
with
steps as (
    select
        s.received_utc,
        s.received_wall,
        s.receiver,
        s.line,
        s.event_raw,
        s.code,
        s.partition,
        s.zone,
        s.format,
        s.source_id,
        s.line_no,
        s.raw,
        lag(s.received_utc) over (
            partition by s.format, s.receiver, s.line
            order by s.received_utc, s.source_id, s.line_no
        ) as before_utc,
        lead(s.received_utc) over (
            partition by s.format, s.receiver, s.line
            order by s.received_utc, s.source_id, s.line_no
        ) as after_utc,
        a.until_utc,
        a.seconds
    from signals as s
    inner join asked as a on s.account_key = a.heard_key
    where
        s.received_utc >= a.from_utc
        and s.received_utc <= a.until_utc
        and s.received_utc < $as_of
        and (
            s.format = 'check_in'
            or s.code in ('350', '353', '355', '356')
        )
)
select
    'event' as role,
    s.received_utc as at_utc,
    s.received_wall,
    s.receiver,
    s.line,
    s.event_raw,
    case
        when s.format = 'check_in' then 'check-in'
        else coalesce(c.label, '')
    end as label,
    s.partition,
    s.zone,
    s.source_id,
    s.line_no,
    s.raw,
    case
        when
            s.format = 'check_in'
            and epoch(coalesce(s.after_utc, s.until_utc))
            - epoch(s.received_utc) > s.seconds
            then 'silence begins'
        when
            s.format = 'check_in'
            and epoch(s.received_utc) - epoch(s.before_utc) > s.seconds
            then 'silence ends'
        else ''
    end as note
from steps as s
left join codes as c on s.code = c.code and s.code <> ''
where
    s.format <> 'check_in'
    or epoch(coalesce(s.after_utc, s.until_utc)) - epoch(s.received_utc)
    > s.seconds
    or epoch(s.received_utc) - epoch(s.before_utc) > s.seconds
order by at_utc, source_id, line_no
