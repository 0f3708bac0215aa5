-- purpose: restores of the last four weeks before which nothing had begun
-- grain:   one row per monitored account, family, partition and zone
-- reads:   edge, accounts, excuses, heard, station, day
-- params:  $until timestamp [UTC]
-- returns: n_restores; n_swapped, whose beginning came within two minutes after
--          (two ways that differ in speed); n_excused, before which the log
--          lacks hours in which something may have begun, or which came in the
--          account's first week; n_anew, within two minutes of a reset (305):
--          a panel that starts tells the state it finds; n_alone, the rest
-- Of a day's resets the first and the last are known: between them all is anew.
with
recent as (
    select distinct e.account_key, e.family, e.partition, e.zone
    from edge as e
    inner join accounts as a on e.account_key = a.account_key
    where
        a.monitored
        and e.qualifier = 'R'
        and e.received_utc >= $until - interval 28 day
        and e.received_utc < $until
),
ordered as (
    select
        e.account_key,
        e.family,
        e.partition,
        e.zone,
        e.path,
        e.code_group,
        e.qualifier,
        e.received_utc,
        e.source_id,
        e.line_no,
        lag(e.qualifier) over same as before_qualifier,
        lag(e.received_utc) over same as before_utc,
        lead(e.qualifier) over same as after_qualifier,
        lead(e.received_utc) over same as after_utc
    from edge as e
    inner join recent as r
        on
            e.account_key = r.account_key
            and e.family = r.family
            and e.partition = r.partition
            and e.zone = r.zone
    window same as (
        partition by e.account_key, e.family, e.partition, e.zone
        order by e.received_utc, e.source_id, e.line_no
    )
),
restores as (
    select
        o.*,
        coalesce(o.before_utc, s.data_first_utc) as since_utc,
        case
            when coalesce(o.before_qualifier, 'R') <> 'R' then 'paired'
            when
                o.after_qualifier <> 'R'
                and epoch(o.after_utc) - epoch(o.received_utc) <= 120
                then 'swapped'
            when
                o.before_utc is null
                and o.received_utc < h.first_utc + interval 7 day
                then 'early'
            else 'alone'
        end as kind
    from ordered as o
    inner join heard as h on o.account_key = h.account_key
    cross join station as s
    where
        o.qualifier = 'R'
        and o.received_utc >= $until - interval 28 day
        and o.received_utc < $until
),
resets as (
    select account_key, first_utc, last_utc
    from day
    where
        code = '305'
        and qualifier <> 'R'
        and last_utc >= $until - interval 29 day
),
anew as (
    select distinct r.account_key, r.source_id, r.line_no
    from restores as r
    inner join resets as s
        on
            r.account_key = s.account_key
            and r.received_utc >= s.first_utc - interval 2 minute
            and r.received_utc <= s.last_utc + interval 2 minute
    where r.kind = 'alone'
),
hidden as (
    select distinct r.account_key, r.source_id, r.line_no
    from restores as r
    inner join excuses as x
        on r.account_key = x.account_key and r.path = x.path
    where
        r.kind = 'alone'
        and x.why <> 'on_test'
        and x.until_utc > r.since_utc
        and x.from_utc < r.received_utc
)
select
    r.account_key,
    r.family,
    r.partition,
    r.zone,
    min(r.code_group) as code_group,
    count(*) as n_restores,
    sum(case when r.kind = 'swapped' then 1 else 0 end) as n_swapped,
    sum(case when r.kind = 'alone' and n.line_no is not null then 1 else 0 end)
        as n_anew,
    sum(case
        when r.kind = 'early' then 1
        when
            r.kind = 'alone' and n.line_no is null and h.line_no is not null
            then 1
        else 0
    end) as n_excused,
    count(*) filter (
        where r.kind = 'alone' and n.line_no is null and h.line_no is null
    ) as n_alone,
    min(r.received_utc) filter (
        where r.kind = 'alone' and n.line_no is null and h.line_no is null
    ) as first_alone_utc,
    max(r.received_utc) filter (
        where r.kind = 'alone' and n.line_no is null and h.line_no is null
    ) as last_alone_utc
from restores as r
left join anew as n
    on
        r.account_key = n.account_key
        and r.source_id = n.source_id
        and r.line_no = n.line_no
left join hidden as h
    on
        r.account_key = h.account_key
        and r.source_id = h.source_id
        and r.line_no = h.line_no
group by r.account_key, r.family, r.partition, r.zone
