-- purpose: alarms that state the time at which they were sent
-- grain:   one row per alarm or supervisory event with a stated time
-- reads:   events, panel_times
-- params:  none
-- returns: offset_s [s] received minus stated time, as in fact_clock: stated
--          utc, or local and then without the zone's offset; day_low_s [s] the
--          least such difference of the account's signals of that day on that
--          receiver, n_day how many there were
with
cut as (
    select
        e.account_key,
        e.utc_day,
        e.received_utc,
        e.code,
        e.code_group,
        e.qualifier,
        e.partition,
        e.zone,
        e.receiver,
        e.line,
        e.path,
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
        *,
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
),
told as (
    select
        *,
        received_s - stated_s + east * (hours * 3600 + minutes * 60)
            as offset_s
    from read
    where stated is not null and stated_s is not null
),
days as (
    select
        account_key,
        utc_day,
        receiver,
        stated,
        min(offset_s) as day_low_s,
        count(*) as n_day
    from told
    group by account_key, utc_day, receiver, stated
)
select
    t.account_key,
    t.utc_day,
    t.received_utc,
    t.code,
    t.code_group,
    t.partition,
    t.zone,
    t.receiver,
    t.line,
    t.path,
    t.stated,
    t.offset_s,
    d.day_low_s,
    d.n_day
from told as t
inner join days as d
    on
        t.account_key = d.account_key
        and t.utc_day = d.utc_day
        and t.receiver = d.receiver
        and t.stated = d.stated
where
    t.qualifier = 'E'
    and (t.code_group like 'alarm_%' or t.code_group = 'supervisory')
order by t.account_key, t.received_utc, t.code, t.partition, t.zone
