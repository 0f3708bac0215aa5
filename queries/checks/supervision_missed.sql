-- purpose: a supervised path was lost, again and again or for long
-- grain:   one row per account and path with a required supervision interval
-- reads:   requirements, paths, check_in_gaps, life, losses, account_line_facts,
--          untold, limits
-- params:  $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [check-ins] where
--          check-ins are in the log, else [h] lost between loss and restore
with
supervised as (
    select
        r.account_key,
        r.path,
        r.seconds,
        r.standing,
        p.checks_in,
        m.value as misses,
        h.value as lost_h,
        u.account_key is not null as is_untold
    from requirements as r
    inner join paths as p
        on r.account_key = p.account_key and r.path = p.path
    inner join limits as m
        on r.account_key = m.account_key and m.name = 'misses'
    inner join limits as h
        on r.account_key = h.account_key and h.name = 'lost_h'
    left join untold as u on r.account_key = u.account_key
    where r.what = 'supervision'
),
gaps as (
    select
        account_key,
        path,
        sum(missed) as missed,
        count(*) filter (where missed > 0) as n_gaps,
        count(*) filter (where missed = 0) as n_excused,
        min(from_utc) filter (where missed > 0) as first_utc,
        max(until_utc) filter (where missed > 0) as last_utc
    from check_in_gaps
    group by account_key, path
),
seen as (
    select account_key, path, sum(n) as n, max(last_utc) as last_utc
    from life
    where sign = 'check_in'
    group by account_key, path
),
lost as (
    select
        account_key,
        path,
        count(*) as n_losses,
        sum(lost_s) as lost_s,
        min(started_utc) as first_utc,
        max(coalesce(restored_utc, $until)) as last_utc
    from losses
    group by account_key, path
),
joined as (
    select
        s.*,
        coalesce(g.missed, 0) as missed,
        coalesce(g.n_gaps, 0) as n_gaps,
        coalesce(g.n_excused, 0) as n_excused,
        coalesce(v.n, 0) as n_seen,
        v.last_utc as last_seen_utc,
        coalesce(l.n_losses, 0) as n_losses,
        coalesce(l.lost_s, 0) / 3600 as lost_hours,
        coalesce(g.first_utc, l.first_utc) as first_utc,
        coalesce(g.last_utc, l.last_utc) as last_utc,
        coalesce(f.n_losses_of_anybody, 0) as n_losses_of_anybody
    from supervised as s
    left join gaps as g
        on s.account_key = g.account_key and s.path = g.path
    left join seen as v
        on s.account_key = v.account_key and s.path = v.path
    left join lost as l
        on s.account_key = l.account_key and s.path = l.path
    left join account_line_facts as f
        on s.account_key = f.account_key and s.path = f.path
)
select
    account_key,
    'path=' || path as subject,
    case
        when checks_in = 'yes' and is_untold and n_seen = 0 then 'not_judged'
        when checks_in = 'yes' and n_seen = 0 then 'not_judged'
        when checks_in = 'yes' and missed >= misses then 'finding'
        when checks_in = 'yes' then 'sound'
        when lost_hours > lost_h then 'finding'
        when n_losses_of_anybody = 0 then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when checks_in = 'yes' and is_untold and n_seen = 0
            then 'paths not told apart'
        when checks_in = 'yes' and n_seen = 0 then 'no check-in ever seen'
        when checks_in = 'yes' and missed >= misses then ''
        when checks_in = 'yes' and missed > 0 then 'single misses'
        when checks_in = 'yes' then ''
        when lost_hours > lost_h then ''
        when n_losses_of_anybody = 0
            then 'check-ins are not in this log and no loss of any path is'
        else ''
    end as reason,
    case when checks_in = 'yes' then cast(missed as double) else lost_hours end
        as measured,
    case when checks_in = 'yes' then misses else lost_h end as limit_value,
    case when checks_in = 'yes' then 'check-ins' else 'h lost' end as unit,
    first_utc as since_utc,
    coalesce(last_utc, $until) as until_utc,
    coalesce(first_utc, $from) as evidence_from_utc,
    $until as evidence_until_utc,
    last_seen_utc as last_good_utc,
    n_gaps + n_losses as evidence_count,
    n_excused as excused_count,
    case
        when checks_in = 'yes' and missed >= 3 * misses then 3
        when checks_in <> 'yes' and lost_hours > 3 * lost_h then 3
        else 2
    end as grade,
    cast(missed as bigint) as k,
    cast(
        round((epoch($until) - epoch(cast($from as timestamp))) / seconds)
        as bigint
    ) as n,
    standing
from joined
