-- purpose: an account's own clock is wrong
-- grain:   one row per account and receiver whose log holds sending times
-- reads:   panel_clock, accounts, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [min]
-- Beside the receiver's own clock: the receiver may be the one that is wrong,
-- and only many accounts together tell. A steady difference is a wrong clock, a
-- wandering one is delay. A time without an offset is taken in the station's
-- zone; a site in another one differs by whole half hours and is not wrong.
with
compared as (
    select
        p.account_key,
        p.receiver,
        p.n,
        p.n_days,
        p.spread_s,
        p.receiver_offset_s,
        a.timezone,
        greatest(
            p.offset_s - coalesce(p.receiver_offset_s, 0),
            coalesce(p.receiver_offset_s, 0) - p.offset_s
        ) as off_s,
        l.value * 60 as limit_s,
        d.value as least_days
    from panel_clock as p
    inner join accounts as a on p.account_key = a.account_key
    inner join limits as l
        on p.account_key = l.account_key and l.name = 'minutes'
    inner join limits as d
        on p.account_key = d.account_key and d.name = 'days'
    where a.monitored
),
judged as (
    select
        *,
        off_s >= 3600 - 120 and off_s <= 3600 + 120 as is_an_hour,
        timezone <> ''
        and off_s >= 1680
        and off_s - 1800 * round(off_s / 1800) between -120 and 120
            as is_zone
    from compared
)
select
    account_key,
    'receiver=' || receiver as subject,
    case
        when n_days < least_days then 'not_judged'
        when off_s <= limit_s and receiver_offset_s is not null then 'sound'
        when receiver_offset_s is null then 'not_judged'
        when spread_s * 2 > limit_s then 'not_judged'
        when is_zone then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_days < least_days then 'too few days with a stated time'
        when off_s <= limit_s and receiver_offset_s is not null then ''
        when receiver_offset_s is null
            then 'too few others state a time to know whose clock is right'
        when spread_s * 2 > limit_s then 'the difference wanders'
        when is_zone then 'the site keeps a time zone of its own'
        when is_an_hour then 'an hour: summer time or time zone'
        else ''
    end as reason,
    off_s / 60 as measured,
    limit_s / 60 as limit_value,
    'min' as unit,
    cast(null as timestamp) as since_utc,
    $until as until_utc,
    $until - interval 28 day as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n as evidence_count,
    0 as excused_count,
    case when n_days >= 7 then 3 else 2 end as grade,
    n_days as k,
    n_days as n
from judged
