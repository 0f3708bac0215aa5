-- purpose: the backup path is silent while another one carries the site
-- grain:   one row per backup path of an account with another path
-- reads:   paths, accounts, life, visible_requirements, excuses, untold,
--          limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Where nothing is due on the backup path its quiet proves nothing: it is used
-- only when the other one fails. Then it is not proven, and not judged.
with
backups as (
    select
        p.account_key,
        p.path,
        l.value as intervals,
        d.value * 3600 as least_s,
        u.account_key is not null as is_untold
    from paths as p
    inner join accounts as a on p.account_key = a.account_key
    inner join limits as l
        on p.account_key = l.account_key and l.name = 'intervals'
    inner join limits as d
        on p.account_key = d.account_key and d.name = 'least_h'
    left join untold as u on p.account_key = u.account_key
    where
        a.monitored
        and p.role = 'backup'
        and exists (
            select 1
            from paths as o
            where o.account_key = p.account_key and o.path <> p.path
        )
),
alive as (
    select
        account_key,
        path,
        min(first_utc) as first_utc,
        max(last_utc) as last_utc,
        sum(n) as n
    from life
    group by account_key, path
),
others as (
    select
        p.account_key,
        p.path,
        min(v.first_utc) as first_utc,
        max(v.last_utc) as last_utc
    from backups as p
    inner join alive as v
        on
            p.account_key = v.account_key
            and p.path <> v.path
            and v.path <> ''
    group by p.account_key, p.path
),
required as (
    select account_key, path, seconds, grace_s, source, standing
    from visible_requirements
    qualify
        row_number() over (
            partition by account_key, path
            order by
                seconds,
                case when standing = 'memory' then 1 else 0 end,
                grace_s, source, standing
        ) = 1
),
clocked as (
    select
        p.*,
        v.last_utc as backup_last_utc,
        coalesce(v.n, 0) as n_backup,
        o.last_utc as other_last_utc,
        coalesce(v.last_utc, o.first_utc) as start_utc,
        q.source,
        q.standing,
        greatest(
            coalesce(q.seconds * p.intervals + q.grace_s, 0), p.least_s
        ) as limit_s,
        q.seconds is not null as is_expected,
        p.is_untold
        and (
            v.last_utc is null
            or coalesce(w.last_utc > v.last_utc, false)
        ) as is_unclear
    from backups as p
    left join alive as v
        on p.account_key = v.account_key and p.path = v.path
    left join alive as w
        on p.account_key = w.account_key and w.path = ''
    left join others as o
        on p.account_key = o.account_key and p.path = o.path
    left join required as q
        on p.account_key = q.account_key and p.path = q.path
),
hidden as (
    select
        c.account_key,
        c.path,
        sum(
            epoch(least(e.until_utc, $as_of))
            - epoch(greatest(e.from_utc, c.start_utc))
        ) as hidden_s
    from clocked as c
    inner join excuses as e
        on c.account_key = e.account_key and c.path = e.path
    where
        e.why <> 'on_test'
        and e.until_utc > c.start_utc
        and e.from_utc < $as_of
    group by c.account_key, c.path
),
judged as (
    select
        c.*,
        coalesce(h.hidden_s, 0) as hidden_s,
        epoch($as_of) - epoch(c.start_utc) as gap_s,
        epoch($as_of) - epoch(c.start_utc) - coalesce(h.hidden_s, 0) as open_s,
        c.other_last_utc is not null
        and c.other_last_utc > c.start_utc
        and epoch($as_of) - epoch(c.other_last_utc) <= c.limit_s
            as is_carried
    from clocked as c
    left join hidden as h
        on c.account_key = h.account_key and c.path = h.path
)
select
    account_key,
    'path=' || path as subject,
    case
        when gap_s <= limit_s and n_backup > 0 then 'sound'
        when is_unclear then 'not_judged'
        when start_utc is null then 'not_judged'
        when open_s <= limit_s then 'not_judged'
        when not is_carried then 'not_judged'
        when not is_expected then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when gap_s <= limit_s and n_backup > 0 then ''
        when is_unclear then 'paths not told apart'
        when start_utc is null then 'nothing heard on any path'
        when gap_s <= limit_s then 'heard for too short a time'
        when open_s <= limit_s then 'excused by an incident or missing log'
        when not is_carried then 'the other path is silent too'
        when not is_expected and n_backup = 0
            then 'backup path not proven, nothing due on it'
        when not is_expected then 'nothing was due on the backup path'
        else ''
    end as reason,
    open_s / 3600 as measured,
    limit_s / 3600 as limit_value,
    'h' as unit,
    start_utc as since_utc,
    $as_of as until_utc,
    start_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    backup_last_utc as last_good_utc,
    1 as evidence_count,
    case when hidden_s > 0 then 1 else 0 end as excused_count,
    case when n_backup > 0 and open_s > 2 * limit_s then 3 else 2 end as grade,
    0 as k,
    0 as n,
    case when source = 'inferred' then 1 else 0 end as inferred,
    coalesce(standing, '') as standing
from judged
