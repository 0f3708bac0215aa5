-- purpose: two paths of one site are lost together, again and again
-- grain:   one row per account whose two kinds of path were both lost
-- reads:   episodes, excuses, accounts, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [% of losses that
--          are joint]
-- Line faults (351, 352) on one side, losses of a supervised path (350, 353,
-- 355, 356) on the other, over the whole history. Two that overlap, or begin
-- within the limit of each other, are joint. What began in an incident or on
-- test is left out: a storm hits both paths of everybody.
with
losses as (
    select
        e.account_key,
        e.family,
        e.zone,
        case when e.family in ('351', '352') then 'line' else 'path' end
            as side,
        e.started_utc,
        min(coalesce(e.restored_utc, e.last_event_utc)) as ended_utc,
        max(g.value) as near_s,
        sum(e.n_doubt) as n_doubt
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    inner join limits as g
        on e.account_key = g.account_key and g.name = 'near_s'
    where
        a.monitored
        and e.family in ('350', '351', '352', '353', '355', '356')
    group by e.account_key, e.family, e.zone, e.started_utc
),
shared as (
    select distinct l.account_key, l.family, l.zone, l.started_utc
    from losses as l
    inner join excuses as x
        on
            l.account_key = x.account_key
            and l.started_utc >= x.from_utc
            and l.started_utc < x.until_utc
),
own as (
    select l.*
    from losses as l
    left join shared as s
        on
            l.account_key = s.account_key
            and l.family = s.family
            and l.zone = s.zone
            and l.started_utc = s.started_utc
    where s.account_key is null
),
left_out as (
    select account_key, count(*) as n_shared
    from shared
    group by account_key
),
joint as (
    select distinct o.account_key, o.family, o.zone, o.started_utc
    from own as o
    inner join own as p on o.account_key = p.account_key
    where
        o.side = 'line'
        and p.side = 'path'
        and (
            (
                o.started_utc <= p.ended_utc
                and p.started_utc <= o.ended_utc
            )
            or (
                epoch(o.started_utc) <= epoch(p.started_utc) + o.near_s
                and epoch(p.started_utc) <= epoch(o.started_utc) + o.near_s
            )
        )
),
counted as (
    select
        o.account_key,
        count(*) filter (where o.side = 'line') as n_line,
        count(*) filter (where o.side = 'path') as n_path,
        count(j.account_key) as n_joint,
        min(case when j.account_key is not null then o.started_utc end)
            as first_utc,
        max(case when j.account_key is not null then o.started_utc end)
            as last_utc,
        min(o.started_utc) as any_utc,
        sum(o.n_doubt) as n_doubt
    from own as o
    left join joint as j
        on
            o.account_key = j.account_key
            and o.family = j.family
            and o.zone = j.zone
            and o.started_utc = j.started_utc
    group by o.account_key
),
judged as (
    select
        c.*,
        coalesce(x.n_shared, 0) as n_shared,
        l.value as limit_n,
        p.value as limit_percent,
        100.0 * c.n_joint / (c.n_line + c.n_path - c.n_joint)
            as joint_percent,
        coalesce(
            epoch($as_of) - epoch(c.last_utc) <= r.value * 86400, false
        ) as is_recent
    from counted as c
    inner join limits as l
        on c.account_key = l.account_key and l.name = 'joint'
    inner join limits as p
        on c.account_key = p.account_key and p.name = 'percent'
    inner join limits as r
        on c.account_key = r.account_key and r.name = 'recent_days'
    left join left_out as x on c.account_key = x.account_key
    where c.n_line > 0 and c.n_path > 0
)
select
    account_key,
    '' as subject,
    case
        when n_joint >= limit_n and joint_percent > limit_percent
            and is_recent
            then 'finding'
        when n_joint >= limit_n and joint_percent > limit_percent then 'sound'
        when n_line < limit_n or n_path < limit_n then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when n_joint >= limit_n and joint_percent > limit_percent
            and is_recent
            then ''
        when n_joint >= limit_n and joint_percent > limit_percent
            then 'not again for weeks'
        when n_line < limit_n or n_path < limit_n then 'too few losses'
        else ''
    end as reason,
    joint_percent as measured,
    limit_percent as limit_value,
    '% of losses' as unit,
    coalesce(first_utc, any_utc) as since_utc,
    coalesce(last_utc, $as_of) as until_utc,
    coalesce(first_utc, any_utc) as evidence_from_utc,
    $as_of as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_joint as evidence_count,
    n_shared as excused_count,
    case when n_joint >= 2 * limit_n then 3 else 2 end as grade,
    n_joint as k,
    n_line + n_path - n_joint as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
