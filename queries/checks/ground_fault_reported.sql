-- purpose: a ground fault, standing or again and again
-- grain:   one row per account, partition and zone with an open ground fault,
--          or one that began in the window
-- reads:   standing, episodes, accounts, on_test, limits
-- params:  $as_of, $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h] while it stands,
--          else [times in the window]
-- What came on test is a technician's and is not counted among those that come
-- and go. A standing one counts only where this account has restored one
-- before, or a later test of its own reports a trouble.
with
told as (
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
        and e.family = '310'
        and e.started_utc >= $from
        and e.started_utc < $until
),
tried as (
    select distinct
        w.account_key,
        w.partition,
        w.zone,
        w.started_utc
    from told as w
    inner join on_test as t
        on
            w.account_key = t.account_key
            and w.started_utc >= t.from_utc
            and (t.until_utc is null or w.started_utc < t.until_utc)
),
comings as (
    select
        w.account_key,
        w.partition,
        w.zone,
        count(*) filter (where x.account_key is null) as n_times,
        count(*) filter (
            where x.account_key is null and w.restored_utc is not null
        ) as n_back,
        count(x.account_key) as n_tried,
        min(w.started_utc) as first_utc,
        max(w.started_utc) as last_utc,
        max(w.restored_utc) as restored_utc,
        sum(w.n_doubt) as n_doubt
    from told as w
    left join tried as x
        on
            w.account_key = x.account_key
            and w.partition = x.partition
            and w.zone = x.zone
            and w.started_utc = x.started_utc
    group by w.account_key, w.partition, w.zone
),
opened as (
    select *
    from standing
    where family = '310'
),
judged as (
    select
        coalesce(o.account_key, c.account_key) as account_key,
        coalesce(o.partition, c.partition) as partition,
        coalesce(o.zone, c.zone) as zone,
        o.account_key is not null as is_open,
        o.started_utc,
        o.open_h,
        o.proven_h,
        coalesce(o.would_tell, true) as would_tell,
        coalesce(o.n_holes, 0) as n_holes,
        coalesce(o.n_events, 0) as n_events,
        coalesce(o.last_restored_utc, c.restored_utc) as last_restored_utc,
        coalesce(c.n_times, 0) as n_times,
        coalesce(c.n_back, 0) as n_back,
        coalesce(c.n_tried, 0) as n_tried,
        c.first_utc,
        c.last_utc,
        coalesce(o.n_doubt, 0) + coalesce(c.n_doubt, 0) as n_doubt
    from opened as o
    full join comings as c
        on
            o.account_key = c.account_key
            and o.partition = c.partition
            and o.zone = c.zone
),
said as (
    select
        j.*,
        l.value as limit_h,
        n.value as limit_n,
        case
            when j.n_times >= n.value and coalesce(j.open_h, 0) <= l.value
                then 'again'
            when j.is_open then 'open'
            else 'few'
        end as kind
    from judged as j
    inner join limits as l
        on j.account_key = l.account_key and l.name = 'open_h'
    inner join limits as n
        on j.account_key = n.account_key and n.name = 'times'
)
select
    account_key,
    'zone=' || partition || '/' || zone as subject,
    case
        when kind = 'again' then 'finding'
        when kind = 'few' then 'sound'
        when open_h <= limit_h then 'sound'
        when not would_tell then 'not_judged'
        when proven_h > limit_h then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when kind = 'again' then 'it comes and goes'
        when kind = 'few' and n_times = 0 then 'only while on test'
        when kind = 'few' then 'seldom'
        when open_h <= limit_h then 'within the limit'
        when not would_tell then 'this account never restored a ground fault'
        when proven_h > limit_h then ''
        else 'the restore may lie in hours that the log lacks'
    end as reason,
    case
        when kind = 'open' then open_h else cast(n_times as double)
    end as measured,
    case when kind = 'open' then limit_h else limit_n end as limit_value,
    case when kind = 'open' then 'h' else 'times' end as unit,
    case when kind = 'open' then started_utc else first_utc end as since_utc,
    case when kind = 'open' then $as_of else last_utc end as until_utc,
    case when kind = 'open' then started_utc else first_utc end
        as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_restored_utc as last_good_utc,
    greatest(n_events, n_times) as evidence_count,
    case when kind = 'open' then n_holes else n_tried end as excused_count,
    case
        when kind = 'open' and open_h > 3 * limit_h then 3
        when kind = 'again' and n_times >= 3 * limit_n then 3
        else 2
    end as grade,
    case when kind = 'open' then 0 else n_back end as k,
    greatest(n_events, n_times) as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from said
