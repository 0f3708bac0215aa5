-- purpose: losses of mains power and of paths, as the accounts told them
-- grain:   one row per loss and path that it may concern ('' = the account)
-- reads:   fact_edge, heard_as, accounts, paths, on_test
-- params:  $from timestamp [UTC]
-- returns: sign power, phone or path; until_utc its restore, null while none
--          came. From 28 days before the window. Only what began anew: another
--          message within 25 h without a restore between is a reminder. What a
--          technician caused on test is left out. The path that failed is not
--          the one that carried the message, where the account has another;
--          the receiver line is that of the message
with
told as (
    select
        h.account_key,
        h.path as via_path,
        f.received_utc,
        f.qualifier,
        f.family,
        f.partition,
        f.zone,
        f.origin,
        f.receiver,
        f.line,
        f.source_id,
        f.line_no
    from fact_edge as f
    inner join heard_as as h
        on
            f.account_key = h.heard_key
            and f.receiver = h.receiver
            and f.line = h.line
            and f.path = h.stated_path
    inner join accounts as a on h.account_key = a.account_key
    where
        a.monitored
        and f.family in (
            '301', '314', '342', '350', '351', '352', '353', '355', '356'
        )
        and f.received_utc >= $from - interval 35 day
),
ordered as (
    select
        *,
        lag(qualifier) over same as before_qualifier,
        lag(received_utc) over same as before_utc,
        min(case when qualifier = 'R' then received_utc end) over (
            partition by account_key, family, partition, zone
            order by received_utc, source_id, line_no
            rows between 1 following and unbounded following
        ) as restored_utc
    from told
    window same as (
        partition by account_key, family, partition, zone
        order by received_utc, source_id, line_no
    )
),
began as (
    select
        account_key,
        via_path,
        origin,
        receiver,
        line,
        received_utc as from_utc,
        restored_utc as until_utc,
        case
            when family in ('301', '314', '342') then 'power'
            when family in ('351', '352') then 'phone'
            else 'path'
        end as sign
    from ordered
    where
        qualifier = 'E'
        and received_utc >= $from - interval 28 day
        and (
            before_qualifier is null
            or before_qualifier = 'R'
            or epoch(received_utc) - epoch(before_utc) > 90000
        )
),
elsewhere as (
    select
        b.*,
        t.account_key as tested_key
    from began as b
    left join on_test as t
        on
            b.account_key = t.account_key
            and b.from_utc >= t.from_utc
            and (t.until_utc is null or b.from_utc < t.until_utc)
),
other_ways as (
    select
        p.account_key,
        p.path as via_path,
        count(o.path) as n_others
    from paths as p
    inner join paths as o
        on
            p.account_key = o.account_key
            and p.path <> o.path
            and o.kind <> 'phone'
    group by p.account_key, p.path
)
select
    e.account_key,
    '' as path,
    e.sign,
    1 as is_told,
    e.from_utc,
    e.until_utc,
    e.receiver,
    e.line
from elsewhere as e
where e.sign = 'power' and e.tested_key is null
union all
select
    e.account_key,
    coalesce(p.path, '') as path,
    e.sign,
    1 as is_told,
    e.from_utc,
    e.until_utc,
    e.receiver,
    e.line
from elsewhere as e
left join paths as p
    on e.account_key = p.account_key and p.kind = 'phone'
where e.sign = 'phone' and e.tested_key is null
union all
select
    e.account_key,
    coalesce(p.path, '') as path,
    e.sign,
    1 as is_told,
    e.from_utc,
    e.until_utc,
    e.receiver,
    e.line
from elsewhere as e
left join other_ways as o
    on e.account_key = o.account_key and e.via_path = o.via_path
left join paths as p
    on
        e.account_key = p.account_key
        and p.kind <> 'phone'
        and (
            p.path <> e.via_path
            or e.origin = 'network'
            or coalesce(o.n_others, 0) = 0
        )
where e.sign = 'path' and e.tested_key is null
