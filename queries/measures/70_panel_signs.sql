-- purpose: what the panel itself has said, beside the box that speaks for it
-- grain:   one row per account whose transmitter has spoken for itself
-- reads:   day, edge, rhythm
-- params:  $as_of timestamp [UTC]
-- returns: signals of the panel (stated, or openings and closings, which only
--          a panel sends), of the transmitter and of unknown origin; the
--          panel's own test period [s]; days with openings; contacts that
--          closed more than 180 s after the last signal that may be the
--          panel's and 180 s before $as_of: their message never came
with
boxes as (
    select
        account_key,
        case
            when origin = 'unknown' and code_group = 'open_close' then 'panel'
            else origin
        end as box,
        code_group,
        utc_day,
        n,
        first_utc,
        last_utc
    from day
    where
        account_key in (
            select account_key from day where origin = 'communicator'
        )
),
signs as (
    select
        account_key,
        coalesce(sum(n) filter (where box = 'panel'), 0) as n_panel,
        min(case when box = 'panel' then first_utc end) as first_panel_utc,
        max(case when box = 'panel' then last_utc end) as last_panel_utc,
        coalesce(sum(n) filter (where box = 'unknown'), 0) as n_unknown,
        max(case when box = 'unknown' then last_utc end) as last_unknown_utc,
        coalesce(sum(n) filter (where box = 'communicator'), 0) as n_box,
        min(case when box = 'communicator' then first_utc end)
            as first_box_utc,
        max(case when box = 'communicator' then last_utc end) as last_box_utc,
        count(distinct case
            when box = 'panel' and code_group = 'open_close' then utc_day
        end) as open_days,
        min(case
            when box = 'panel' and code_group = 'open_close' then first_utc
        end) as first_open_utc,
        max(case
            when box = 'panel' and code_group = 'open_close' then last_utc
        end) as last_open_utc
    from boxes
    group by account_key
),
own_clock as (
    select account_key, min(period_s) as panel_period_s
    from rhythm
    where origin = 'panel' and period_s is not null
    group by account_key
),
copies as (
    select
        s.account_key,
        count(*) filter (
            where e.code_group in (
                'alarm_fire', 'alarm_medical', 'alarm_holdup',
                'alarm_burglary', 'alarm_other'
            )
        ) as n_alarm_copies,
        count(*) as n_copies,
        min(e.received_utc) as first_copy_utc
    from signs as s
    inner join edge as e on s.account_key = e.account_key
    where
        e.format = 'contact_input'
        and e.qualifier = 'E'
        and s.n_panel > 0
        and epoch(e.received_utc) - epoch(s.last_panel_utc) > 180
        and (
            s.last_unknown_utc is null
            or epoch(e.received_utc) - epoch(s.last_unknown_utc) > 180
        )
        and epoch($as_of) - epoch(e.received_utc) > 180
    group by s.account_key
)
select
    s.account_key,
    s.n_panel,
    s.first_panel_utc,
    s.last_panel_utc,
    s.n_unknown,
    s.last_unknown_utc,
    s.n_box,
    s.first_box_utc,
    s.last_box_utc,
    s.open_days,
    s.first_open_utc,
    s.last_open_utc,
    o.panel_period_s,
    coalesce(c.n_copies, 0) as n_copies,
    coalesce(c.n_alarm_copies, 0) as n_alarm_copies,
    c.first_copy_utc
from signs as s
left join own_clock as o on s.account_key = o.account_key
left join copies as c on s.account_key = c.account_key
