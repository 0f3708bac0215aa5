-- purpose: a path that dies with the mains and comes back with them
-- grain:   one row per account and path-loss code, where mains losses are told
-- reads:   episodes, on_test, shared_losses, accounts, limits
-- params:  $as_of, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [mains losses in
--          half a year]; k with the path lost, of n long enough to show it
-- The path must go within hours of the mains and come back when they do. A
-- report of lost mains may be held back for up to three hours, so the path may
-- be told first. A path that many accounts lost together does not count, nor do
-- mains losses made on test.
with
mains as (
    select
        e.account_key,
        e.started_utc,
        max(e.restored_utc) as restored_utc
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    inner join limits as m
        on e.account_key = m.account_key and m.name = 'least_min'
    left join on_test as t
        on
            e.account_key = t.account_key
            and e.started_utc >= t.from_utc
            and (t.until_utc is null or e.started_utc < t.until_utc)
    where
        a.monitored
        and e.family in ('301', '314', '342')
        and e.restored_utc is not null
        and e.started_utc >= $until - interval 182 day
        and epoch(e.restored_utc) - epoch(e.started_utc) >= m.value * 60
        and t.account_key is null
    group by e.account_key, e.started_utc
),
lost as (
    select
        e.account_key,
        e.family,
        e.started_utc,
        e.restored_utc,
        e.n_doubt
    from episodes as e
    left join shared_losses as s
        on
            e.account_key = s.account_key
            and e.family = s.family
            and e.partition = s.partition
            and e.zone = s.zone
            and e.started_utc = s.started_utc
    where
        e.family in ('350', '351', '352', '353', '355', '356')
        and e.started_utc >= $until - interval 183 day
        and s.account_key is null
),
counted as (
    select account_key, count(*) as n_mains, max(started_utc) as last_utc
    from mains
    group by account_key
),
told as (
    select account_key, family, sum(n_doubt) as n_doubt
    from lost
    group by account_key, family
),
paired as (
    select
        m.account_key,
        p.family,
        count(distinct m.started_utc) as n_both,
        min(m.started_utc) as first_utc,
        max(p.restored_utc) as last_utc
    from mains as m
    inner join limits as h
        on m.account_key = h.account_key and h.name = 'within_h'
    inner join lost as p
        on
            m.account_key = p.account_key
            and epoch(p.started_utc) >= epoch(m.started_utc) - 10800
            and epoch(p.started_utc) <= epoch(m.started_utc) + h.value * 3600
            and epoch(p.restored_utc) >= epoch(m.restored_utc) - 300
            and epoch(p.restored_utc) <= epoch(m.restored_utc) + 1800
    group by m.account_key, p.family
),
judged as (
    select
        t.account_key,
        t.family,
        t.n_doubt,
        c.n_mains,
        c.last_utc as last_mains_utc,
        coalesce(p.n_both, 0) as n_both,
        p.first_utc,
        p.last_utc,
        l.value as limit_n
    from told as t
    inner join counted as c on t.account_key = c.account_key
    inner join limits as l
        on t.account_key = l.account_key and l.name = 'times'
    left join paired as p
        on t.account_key = p.account_key and t.family = p.family
)
select
    account_key,
    'code=' || family as subject,
    case
        when n_mains < limit_n then 'not_judged'
        when n_both >= limit_n and 2 * n_both >= n_mains then 'finding'
        else 'sound'
    end as verdict,
    case
        when n_mains < limit_n then 'too few mains losses to show it'
        when n_both >= limit_n and 2 * n_both >= n_mains then ''
        when n_both > 0 then 'not with most of them'
        else ''
    end as reason,
    cast(n_both as double) as measured,
    limit_n as limit_value,
    'losses' as unit,
    coalesce(first_utc, last_mains_utc) as since_utc,
    coalesce(last_utc, last_mains_utc) as until_utc,
    coalesce(first_utc, last_mains_utc) as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_utc as last_good_utc,
    n_both as evidence_count,
    0 as excused_count,
    case when n_both >= 2 * limit_n and n_both = n_mains then 3 else 2
    end as grade,
    n_both as k,
    n_mains as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
