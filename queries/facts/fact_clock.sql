-- purpose: the sender's time beside the receiver's, where the log holds both
-- grain:   one row per account, UTC day, receiver and way of stating the time
-- reads:   events, panel_times
-- params:  none
-- returns: n [signals], offset_s [s] the median of received minus stated time:
--          above 0 the receiver is ahead. stated utc: the form of DC-09
--          (HH:MM:SS,MM-DD-YYYY) or ISO 8601 with Z or an offset; stated local:
--          ISO 8601 without one, offset_s then lacks the zone's offset. Other
--          forms, resends and times in doubt are left out
with
cut as (
    select
        e.account_key,
        e.utc_day,
        e.receiver,
        e.received_utc,
        p.panel_time,
        substring(p.panel_time, 20, 6) as tail,
        case
            when p.panel_time like '__:__:__,__-__-____'
                then
                    substring(p.panel_time, 16, 4) || '-'
                    || substring(p.panel_time, 10, 5) || ' '
                    || substring(p.panel_time, 1, 8)
            when p.panel_time like '____-__-__T__:__:__%'
                then
                    substring(p.panel_time, 1, 10) || ' '
                    || substring(p.panel_time, 12, 8)
            when p.panel_time like '____-__-__ __:__:__%'
                then substring(p.panel_time, 1, 19)
        end as wall
    from events as e
    inner join panel_times as p
        on
            e.source_id = p.source_id
            and e.line_no = p.line_no
            and e.part = p.part
    where
        not e.is_resend
        and e.time_doubt = 'exact'
        and e.origin <> 'receiver'
),
read as (
    select
        account_key,
        utc_day,
        receiver,
        epoch(received_utc) as received_s,
        epoch(try_cast(wall as timestamp)) as stated_s,
        case
            when panel_time like '__:__:__,%' then 'utc'
            when tail = '' then 'local'
            when tail in ('Z', 'z') then 'utc'
            when tail like '+__:__' or tail like '-__:__' then 'utc'
        end as stated,
        case
            when tail like '+__:__' then 1
            when tail like '-__:__' then -1
            else 0
        end as east,
        coalesce(try_cast(substring(tail, 2, 2) as integer), 0) as hours,
        coalesce(try_cast(substring(tail, 5, 2) as integer), 0) as minutes
    from cut
)
select
    account_key,
    utc_day,
    receiver,
    stated,
    count(*) as n,
    median(
        received_s - stated_s + east * (hours * 3600 + minutes * 60)
    ) as offset_s
from read
where stated is not null and stated_s is not null
group by account_key, utc_day, receiver, stated
order by account_key, utc_day, receiver, stated
