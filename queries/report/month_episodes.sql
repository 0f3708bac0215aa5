-- purpose: conditions of a month that a customer is told of
-- grain:   one row per account, family, partition, zone and beginning
-- reads:   all_accounts, all_zones, kept_episodes, kept_standing,
--          kept_shared_losses, month_span
-- params:  none
-- returns: restored_utc null while open; would_tell true where its end would
--          have been told; shared true where many accounts had it at the same
--          time; label and kind of the zone on the roster. What began before
--          the month is listed only where it still lasted in it for certain
with
labels as (
    select account_key, partition, zone, min(label) as label, min(kind) as kind
    from all_zones
    where zone <> '' and kind <> 'user'
    group by account_key, partition, zone
)
select
    e.account_key,
    e.family,
    e.code,
    e.code_group,
    e.event_class,
    e.partition,
    e.zone,
    e.path,
    e.origin,
    e.started_utc,
    e.restored_utc,
    e.n_events,
    coalesce(s.would_tell, false) as would_tell,
    g.until_utc is not null as shared,
    coalesce(z.label, '') as label,
    coalesce(z.kind, '') as kind
from kept_episodes as e
inner join all_accounts as a on e.account_key = a.account_key
cross join month_span as m
left join labels as z
    on
        e.account_key = z.account_key
        and e.partition = z.partition
        and e.zone = z.zone
left join kept_standing as s
    on
        e.account_key = s.account_key
        and e.family = s.family
        and e.partition = s.partition
        and e.zone = s.zone
        and e.restored_utc is null
left join kept_shared_losses as g
    on
        e.account_key = g.account_key
        and e.family = g.family
        and e.partition = g.partition
        and e.zone = g.zone
        and e.started_utc = g.started_utc
where
    a.monitored
    and e.code_group in (
        'power', 'path', 'supervision', 'tamper', 'trouble', 'supervisory',
        'bypass'
    )
    and e.started_utc < m.until_utc
    and (
        e.started_utc >= m.from_utc
        or (e.restored_utc is not null and e.restored_utc > m.from_utc)
        or (e.restored_utc is null and s.would_tell)
    )
order by e.account_key, e.started_utc, e.family, e.partition, e.zone
