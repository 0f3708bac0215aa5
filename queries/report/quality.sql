-- purpose: what the data themselves leave in doubt
-- grain:   one row per topic, reason and source
-- reads:   rejects, seen_sources, signals, all_fact_day, order_breaks,
--          unordered, clock_offsets
-- params:  $from, $until timestamp [UTC]
-- returns: counts with one sample: rejects by reason, repeats of lines held
--          already, doubtful times, steps back of a receiver's clock
--          and its offset, resends, copies, unknown codes in the window
select
    'reject' as topic,
    r.reason,
    count(*) as n,
    min(r.raw) as sample,
    s.name as source
from rejects as r
inner join seen_sources as s on r.source_id = s.source_id
group by r.reason, s.name
union all
select
    'repeat' as topic,
    'line held already from another export' as reason,
    s.n_repeats as n,
    '' as sample,
    s.name as source
from seen_sources as s
where s.n_repeats > 0
union all
select
    'doubtful_time' as topic,
    g.time_doubt as reason,
    count(*) as n,
    min(g.received_wall) as sample,
    s.name as source
from signals as g
inner join seen_sources as s on g.source_id = s.source_id
where
    g.time_doubt <> 'exact'
    and g.received_utc >= $from - interval 28 day
    and g.received_utc < $until
group by g.time_doubt, s.name
union all
select
    'order_break' as topic,
    'receiver ' || b.receiver || ': clock stepped back ' || b.step as reason,
    cast(1 as bigint) as n,
    'line ' || cast(b.line_no as varchar) as sample,
    s.name as source
from order_breaks as b
inner join seen_sources as s on b.source_id = s.source_id
where b.until_utc >= $from - interval 28 day and b.from_utc < $until
union all
select
    'order_break' as topic,
    'receiver ' || u.receiver || ': not in order of time' as reason,
    cast(1 as bigint) as n,
    '' as sample,
    s.name as source
from unordered as u
inner join seen_sources as s on u.source_id = s.source_id
union all
select
    'clock_offset' as topic,
    case
        when o.offset_s >= 0.5
            then 'receiver ' || o.receiver || ' runs '
                || cast(cast(round(o.offset_s) as bigint) as varchar)
                || ' s ahead of the sending clocks'
        when o.offset_s <= -0.5
            then 'receiver ' || o.receiver || ' runs '
                || cast(cast(round(-o.offset_s) as bigint) as varchar)
                || ' s behind the sending clocks'
        else 'receiver ' || o.receiver || ' agrees with the sending clocks'
    end as reason,
    o.n_accounts as n,
    'spread ' || cast(cast(round(o.spread_s) as bigint) as varchar) || ' s'
        as sample,
    'median of ' || cast(o.n_accounts as varchar) || ' accounts' as source
from clock_offsets as o
union all
select
    'resend' as topic,
    'sent again: acknowledgement not heard' as reason,
    cast(sum(d.n_resend) as bigint) as n,
    '' as sample,
    'receiver ' || d.receiver || ' line ' || d.line as source
from all_fact_day as d
where d.last_utc >= $from and d.first_utc < $until and d.n_resend > 0
group by d.receiver, d.line
union all
select
    'copy' as topic,
    case
        when d.format = 'contact_input'
            then 'contact input beside its captured message'
        else 'one event told by two ways'
    end as reason,
    cast(sum(d.n_copy) as bigint) as n,
    '' as sample,
    'receiver ' || d.receiver || ' line ' || d.line as source
from all_fact_day as d
where d.last_utc >= $from and d.first_utc < $until and d.n_copy > 0
group by
    case
        when d.format = 'contact_input'
            then 'contact input beside its captured message'
        else 'one event told by two ways'
    end, d.receiver, d.line
union all
select
    'unknown_code' as topic,
    case when d.code = '' then 'event not understood' else d.code end as reason,
    cast(sum(d.n) as bigint) as n,
    '' as sample,
    'receiver ' || d.receiver || ' line ' || d.line as source
from all_fact_day as d
where
    d.last_utc >= $from
    and d.first_utc < $until
    and d.event_class = 'unknown'
group by d.code, d.receiver, d.line
order by topic, reason, source, sample
