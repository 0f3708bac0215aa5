-- purpose: what an account said in four weeks, by code and point
-- grain:   one row per account, origin, code, qualifier, partition and zone
-- reads:   fact_day, heard_as, zones
-- params:  $until timestamp [UTC]
-- returns: n [signals], on how many UTC days, first and last; n_late and
--          first_late_utc of the last two weeks alone; check-ins and tests are
--          left out. Of program mode (627, 628) all that is held. Origin as in
--          day
select
    h.account_key,
    case
        when f.origin <> '' then f.origin
        when f.format = 'contact_input' then 'communicator'
        when z.kind in ('communicator', 'contact_input') then 'communicator'
        else 'unknown'
    end as origin,
    f.event_class,
    f.code_group,
    f.family,
    f.code,
    f.qualifier,
    f.partition,
    f.zone,
    sum(f.n) as n,
    count(distinct f.utc_day) as n_days,
    min(f.first_utc) as first_utc,
    max(f.last_utc) as last_utc,
    sum(case
        when f.first_utc >= $until - interval 14 day then f.n else 0
    end) as n_late,
    min(case
        when f.first_utc >= $until - interval 14 day then f.first_utc
    end) as first_late_utc
from fact_day as f
inner join heard_as as h
    on
        f.account_key = h.heard_key
        and f.receiver = h.receiver
        and f.line = h.line
        and f.path = h.stated_path
left join zones as z
    on
        h.account_key = z.account_key
        and f.partition = z.partition
        and f.zone = z.zone
        and f.zone <> ''
        and z.kind <> 'user'
where
    f.code_group not in ('check_in', 'test')
    and f.origin <> 'receiver'
    and f.code <> ''
    and f.n > 0
    and f.first_utc < $until
    and (
        f.last_utc >= $until - interval 28 day
        or f.code in ('627', '628')
    )
group by
    h.account_key,
    case
        when f.origin <> '' then f.origin
        when f.format = 'contact_input' then 'communicator'
        when z.kind in ('communicator', 'contact_input') then 'communicator'
        else 'unknown'
    end,
    f.event_class,
    f.code_group,
    f.family,
    f.code,
    f.qualifier,
    f.partition,
    f.zone
