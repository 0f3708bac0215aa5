-- purpose: the communicator says that it does not see the panel it captures
-- grain:   one row per account, family, partition and zone of such a trouble
--          that is open, or began in the window
-- reads:   episodes, habits, life, zones, paths, accounts, excuses, limits
-- params:  $as_of, $from timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Peripheral and module troubles (330, 331-333 and 339), and any trouble on a
-- zone that the roster calls the communicator's own. Only where it said so
-- itself: the panel's own are trouble_standing. Check-ins prove nothing about
-- the panel; a signal of the panel after the trouble does. One that keeps
-- coming back for longer than the limit is loose, heard since or not.
with
own_zones as (
    select account_key, partition, zone
    from zones
    where kind = 'communicator'
),
troubles as (
    select
        e.account_key,
        e.family,
        e.partition,
        e.zone,
        max(e.path) as path,
        max(e.origin) as origin,
        min(case when e.restored_utc is null then e.started_utc end)
            as open_utc,
        max(e.started_utc) as last_began_utc,
        max(e.last_event_utc) as last_event_utc,
        count(*) as n_troubles,
        sum(e.n_events) as n_events,
        sum(e.n_doubt) as n_doubt
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    left join own_zones as z
        on
            e.account_key = z.account_key
            and e.partition = z.partition
            and e.zone = z.zone
    where
        a.monitored
        and e.origin in ('communicator', 'unknown')
        and (
            e.family in ('330', '141', '142', '143', '339')
            or (z.account_key is not null and e.code_group = 'trouble')
        )
        and e.code_group = 'trouble'
        and (e.restored_utc is null or e.started_utc >= $from)
    group by e.account_key, e.family, e.partition, e.zone
),
long_ones as (
    select
        e.account_key,
        e.family,
        e.partition,
        e.zone,
        count(*) as n_long,
        min(e.started_utc) as first_utc
    from episodes as e
    inner join troubles as t
        on
            e.account_key = t.account_key
            and e.family = t.family
            and e.partition = t.partition
            and e.zone = t.zone
    inner join limits as l
        on e.account_key = l.account_key and l.name = 'open_h'
    where
        e.started_utc >= $as_of - interval 28 day
        and epoch(e.restored_utc) - epoch(e.started_utc) > l.value * 3600
        and not exists (
            select 1
            from excuses as x
            where
                x.account_key = e.account_key
                and x.from_utc < e.restored_utc
                and x.until_utc > e.started_utc
        )
    group by e.account_key, e.family, e.partition, e.zone
),
radios as (
    select account_key, count(*) as n_ways
    from paths
    where kind <> 'phone'
    group by account_key
),
panel as (
    select account_key, max(last_utc) as last_utc
    from life
    where origin = 'panel' and sign in ('signal', 'test')
    group by account_key
),
unheard as (
    select
        t.account_key,
        t.family,
        t.partition,
        t.zone,
        min(greatest(x.from_utc, t.last_event_utc)) as from_utc,
        count(*) as n_holes
    from troubles as t
    inner join excuses as x
        on t.account_key = x.account_key and t.path = x.path
    where
        t.open_utc is not null
        and x.why <> 'on_test'
        and x.until_utc > t.last_event_utc
        and x.from_utc < $as_of
    group by t.account_key, t.family, t.partition, t.zone
),
judged as (
    select
        t.*,
        l.value as limit_h,
        n.value as limit_n,
        coalesce(o.n_long, 0) as n_long,
        o.first_utc as first_long_utc,
        coalesce(r.n_ways, 0) as n_ways,
        coalesce(u.n_holes, 0) as n_holes,
        coalesce(h.n_restored, 0) > 0 as restores,
        h.last_restored_utc,
        p.last_utc as panel_utc,
        coalesce(
            epoch(p.last_utc) > epoch(t.last_event_utc) + g.value, false
        ) as is_heard_since,
        coalesce((epoch($as_of) - epoch(t.open_utc)) / 3600, 0) as open_h,
        coalesce(
            (epoch(coalesce(u.from_utc, $as_of)) - epoch(t.open_utc)) / 3600, 0
        ) as proven_h
    from troubles as t
    inner join limits as l
        on t.account_key = l.account_key and l.name = 'open_h'
    inner join limits as g
        on t.account_key = g.account_key and g.name = 'after_s'
    inner join limits as n
        on t.account_key = n.account_key and n.name = 'repeats'
    left join long_ones as o
        on
            t.account_key = o.account_key
            and t.family = o.family
            and t.partition = o.partition
            and t.zone = o.zone
    left join radios as r on t.account_key = r.account_key
    left join habits as h
        on t.account_key = h.account_key and t.family = h.family
    left join panel as p on t.account_key = p.account_key
    left join unheard as u
        on
            t.account_key = u.account_key
            and t.family = u.family
            and t.partition = u.partition
            and t.zone = u.zone
),
weighed as (
    select
        *,
        proven_h > limit_h
        and not is_heard_since
        and (restores or panel_utc is not null) as is_lost,
        n_long >= limit_n as is_loose
    from judged
)
select
    account_key,
    'code=' || family || ',zone=' || partition || '/' || zone as subject,
    case
        when origin = 'unknown' then 'not_judged'
        when is_lost or is_loose then 'finding'
        when open_h <= limit_h then 'sound'
        else 'not_judged'
    end as verdict,
    case
        when origin = 'unknown' then 'origin not told apart'
        when is_lost then ''
        when is_loose then 'again and again'
        when open_utc is null then 'restored'
        when open_h <= limit_h then 'within the limit'
        when is_heard_since then 'the panel was heard since'
        when not restores and panel_utc is null
            then 'never restored, and no signal of the panel is known'
        else 'the restore may lie in hours that the log lacks'
    end as reason,
    case when is_loose and not is_lost then n_long else open_h end as measured,
    case when is_loose and not is_lost then limit_n else limit_h end
        as limit_value,
    case when is_loose and not is_lost then 'losses in four weeks' else 'h' end
        as unit,
    case
        when is_loose and not is_lost then first_long_utc
        else coalesce(open_utc, last_began_utc)
    end as since_utc,
    $as_of as until_utc,
    case
        when is_loose and not is_lost then first_long_utc
        else coalesce(open_utc, last_began_utc)
    end as evidence_from_utc,
    $as_of as evidence_until_utc,
    coalesce(panel_utc, last_restored_utc) as last_good_utc,
    n_events as evidence_count,
    n_holes as excused_count,
    case when restores and panel_utc is not null then 3 else 2 end as grade,
    n_troubles as k,
    n_troubles as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from weighed
where origin <> 'unknown' or n_ways > 0
