-- purpose: wireless sensors lost, or with a low battery for weeks
-- grain:   one row per account, family, partition and zone; one row per
--          account where many were lost together
-- reads:   standing, episodes, accounts, on_test, limits
-- params:  $as_of, $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h] while it
--          stands, [times in the window] where a sensor is lost again and
--          again, [sensors] where many were lost together
-- A low battery whose sensor is lost as well is one fact: the loss tells it.
-- Many sensors lost within one supervision window point to the receiver, not
-- to them. Where a restore is only promised by the roster, the finding is less
-- sure. A sensor lost again and again that is just lost once more is told as
-- the former until it has stayed away longer than it may.
with
opened as (
    select
        s.*,
        s.would_tell or s.is_promised as is_told,
        case when s.would_tell then 0 else 1 end as n_inferred
    from standing as s
    where s.family in ('147', '384')
),
latest as (
    select account_key, max(started_utc) as started_utc
    from opened
    where family = '147'
    group by account_key
),
crowd as (
    select
        o.account_key,
        count(*) as n_lost,
        min(o.started_utc) as first_utc,
        max(o.open_h) as open_h,
        max(o.proven_h) as proven_h,
        max(case when o.is_told then 1 else 0 end) as n_told,
        min(o.n_inferred) as n_inferred,
        max(o.last_restored_utc) as last_restored_utc,
        sum(o.n_holes) as n_holes,
        sum(o.n_doubt) as n_doubt,
        min(m.value) as limit_n,
        min(h.value) as limit_h
    from opened as o
    inner join latest as t on o.account_key = t.account_key
    inner join limits as w
        on o.account_key = w.account_key and w.name = 'together_h'
    inner join limits as m
        on o.account_key = m.account_key and m.name = 'sensors'
    inner join limits as h
        on o.account_key = h.account_key and h.name = 'lost_h'
    where
        o.family = '147'
        and epoch(t.started_utc) - epoch(o.started_utc) <= w.value * 3600
    group by o.account_key
    having count(*) >= min(m.value)
),
apart as (
    select
        o.*,
        b.account_key is not null as battery_said
    from opened as o
    left join crowd as c on o.account_key = c.account_key
    left join opened as b
        on
            o.account_key = b.account_key
            and o.partition = b.partition
            and o.zone = b.zone
            and o.family = '147'
            and b.family = '384'
    left join opened as x
        on
            o.account_key = x.account_key
            and o.partition = x.partition
            and o.zone = x.zone
            and o.family = '384'
            and x.family = '147'
            and x.is_told
    where
        x.account_key is null
        and (
            o.family = '384'
            or c.account_key is null
            or o.started_utc < c.first_utc
        )
),
lost as (
    select
        e.account_key,
        e.partition,
        e.zone,
        e.started_utc,
        e.restored_utc,
        e.n_doubt
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    where
        a.monitored
        and e.family = '147'
        and e.started_utc >= $from
        and e.started_utc < $until
),
tried as (
    select distinct s.account_key, s.partition, s.zone, s.started_utc
    from lost as s
    inner join on_test as t
        on
            s.account_key = t.account_key
            and s.started_utc >= t.from_utc
            and (t.until_utc is null or s.started_utc < t.until_utc)
),
losses_again as (
    select
        s.account_key,
        min(m.value) as limit_n,
        s.partition,
        s.zone,
        count(*) filter (where t.account_key is null) as n_times,
        count(*) filter (
            where t.account_key is null and s.restored_utc is not null
        ) as n_back,
        count(t.account_key) as n_tried,
        min(s.started_utc) as first_utc,
        max(s.started_utc) as last_utc,
        max(s.restored_utc) as restored_utc,
        sum(s.n_doubt) as n_doubt
    from lost as s
    left join tried as t
        on
            s.account_key = t.account_key
            and s.partition = t.partition
            and s.zone = t.zone
            and s.started_utc = t.started_utc
    inner join limits as m
        on s.account_key = m.account_key and m.name = 'times'
    group by s.account_key, s.partition, s.zone
),
single as (
    select
        o.*,
        case when o.family = '147' then l.value else b.value end as limit_h,
        g.n_times
    from apart as o
    left join losses_again as g
        on
            o.account_key = g.account_key
            and o.partition = g.partition
            and o.zone = g.zone
            and o.family = '147'
            and g.n_times >= g.limit_n
    inner join limits as l
        on o.account_key = l.account_key and l.name = 'lost_h'
    inner join limits as b
        on o.account_key = b.account_key and b.name = 'battery_h'
)
select
    account_key,
    'code=147' as subject,
    case
        when n_told = 0 then 'not_judged'
        when n_holes > 0 and proven_h <= limit_h then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_told = 0 then 'this account never restored such a loss'
        when n_holes > 0 and proven_h <= limit_h
            then 'the restore may lie in hours that the log lacks'
        else 'within one window: look at their receiver first'
    end as reason,
    cast(n_lost as double) as measured,
    limit_n as limit_value,
    'sensors' as unit,
    first_utc as since_utc,
    $as_of as until_utc,
    first_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_restored_utc as last_good_utc,
    n_lost as evidence_count,
    n_holes as excused_count,
    case when n_lost >= 2 * limit_n then 3 else 2 end as grade,
    n_lost as k,
    n_lost as n,
    1 as aggravated,
    n_inferred as inferred,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from crowd
union all
select
    account_key,
    'code=' || family || ',zone=' || partition || '/' || zone as subject,
    case
        when open_h <= limit_h then 'sound'
        when not is_told then 'not_judged'
        when proven_h > limit_h then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when open_h <= limit_h then 'within the limit'
        when not is_told then 'this account never restored such a loss'
        when proven_h > limit_h and battery_said
            then 'lost, and its battery was reported low'
        when proven_h > limit_h and family = '147' then 'lost'
        when proven_h > limit_h then 'battery low'
        else 'the restore may lie in hours that the log lacks'
    end as reason,
    open_h as measured,
    limit_h as limit_value,
    'h' as unit,
    started_utc as since_utc,
    $as_of as until_utc,
    started_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_restored_utc as last_good_utc,
    n_events as evidence_count,
    n_holes as excused_count,
    case when open_h > 3 * limit_h then 3 else 2 end as grade,
    n_events as k,
    n_events as n,
    0 as aggravated,
    n_inferred as inferred,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from single
where n_times is null or open_h > limit_h
union all
select
    g.account_key,
    'code=147,zone=' || g.partition || '/' || g.zone as subject,
    case when g.n_times >= g.limit_n then 'finding' else 'sound' end as verdict,
    case
        when g.n_times >= g.limit_n then 'lost again and again'
        when g.n_times = 0 then 'only while on test'
        else 'seldom'
    end as reason,
    cast(g.n_times as double) as measured,
    g.limit_n as limit_value,
    'times' as unit,
    g.first_utc as since_utc,
    g.last_utc as until_utc,
    g.first_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    g.restored_utc as last_good_utc,
    g.n_times as evidence_count,
    g.n_tried as excused_count,
    case when g.n_times >= 3 * g.limit_n then 3 else 2 end as grade,
    g.n_back as k,
    g.n_times as n,
    0 as aggravated,
    0 as inferred,
    case when g.n_doubt > 0 then 1 else 0 end as doubtful
from losses_again as g
left join opened as o
    on
        g.account_key = o.account_key
        and g.partition = o.partition
        and g.zone = o.zone
        and o.family = '147'
left join limits as l
    on g.account_key = l.account_key and l.name = 'lost_h'
where
    o.account_key is null
    or (o.open_h <= l.value and g.n_times >= g.limit_n)
