-- purpose: a supervised path was lost, again and again or for long
-- grain:   one row per account and path with a required supervision interval
-- reads:   requirements, paths, check_in_gaps, life, losses, episodes, excuses,
--          shared_losses, account_line_facts, untold, limits
-- params:  $as_of, $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [check-ins] where
--          check-ins are in the log, else [h] lost between loss and restore
-- A silence counts by its part in the window. A loss without a restore is known
-- to last until its last reminder where the path spoke afterwards, and until
-- the log lacks hours in which the restore may lie, by this path or by the one
-- that told of it. A test that came by the path before its restore had ended
-- the loss unseen, and a word after that test is a loss of its own. Losses that
-- overlap (told by the network and by the panel) are one time. A check-in late
-- by less than a quarter of its interval is no miss, so the log's times must be
-- that fine. A loss that began in an outage many accounts share, or while the
-- path's own line was not heard or within the hour before it fell silent (the
-- losses may be the last that it told), counts from its end.
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
        sum(least(
            missed,
            ceil(
                (
                    epoch(least(until_utc, cast($until as timestamp)))
                    - epoch(greatest(from_utc, cast($from as timestamp)))
                ) / seconds
            )
        )) as missed,
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
shown as (
    select account_key, path, max(last_utc) as last_utc
    from life
    where sign in ('test', 'check_in')
    group by account_key, path
),
told as (
    select
        l.account_key,
        l.path,
        l.started_utc,
        l.restored_utc,
        l.spoke_utc,
        min(e.path) as told_path,
        max(e.last_event_utc) as last_word_utc,
        max(s.last_utc) as shown_utc,
        max(greatest(
            coalesce(g.until_utc, x.until_utc),
            coalesce(x.until_utc, g.until_utc)
        )) as struck_until_utc
    from losses as l
    inner join episodes as e
        on
            l.account_key = e.account_key
            and l.started_utc = e.started_utc
            and e.family in ('350', '353', '355', '356')
    left join shown as s
        on l.account_key = s.account_key and l.path = s.path
    left join shared_losses as g
        on
            e.account_key = g.account_key
            and e.family = g.family
            and e.partition = g.partition
            and e.zone = g.zone
            and e.started_utc = g.started_utc
    left join excuses as x
        on
            l.account_key = x.account_key
            and l.path = x.path
            and x.why <> 'on_test'
            and l.started_utc > x.from_utc - interval 1 hour
            and l.started_utc < x.until_utc
    group by
        l.account_key, l.path, l.started_utc, l.restored_utc, l.spoke_utc
),
lacking as (
    select
        t.account_key,
        t.path,
        t.started_utc,
        min(greatest(x.from_utc, t.last_word_utc)) as from_utc
    from told as t
    inner join excuses as x
        on
            t.account_key = x.account_key
            and (t.path = x.path or t.told_path = x.path)
    where
        t.restored_utc is null
        and x.why <> 'on_test'
        and x.until_utc > t.last_word_utc
        and x.from_utc < $as_of
    group by t.account_key, t.path, t.started_utc
),
known as (
    select
        t.account_key,
        t.path,
        t.started_utc,
        t.last_word_utc,
        greatest(
            t.started_utc,
            cast($from as timestamp),
            coalesce(t.struck_until_utc, t.started_utc)
        ) as from_utc,
        case when t.struck_until_utc is null then 0 else 1 end as n_shared,
        least(
            cast($until as timestamp),
            case
                when t.spoke_utc <= t.last_word_utc
                    and t.restored_utc is not null then t.started_utc
                when t.spoke_utc < t.restored_utc then t.last_word_utc
                when t.restored_utc is not null then t.restored_utc
                when t.shown_utc > t.last_word_utc then t.last_word_utc
                else coalesce(k.from_utc, $as_of)
            end
        ) as until_utc,
        case
            when t.restored_utc is null and t.shown_utc > t.last_word_utc
                then 1
            when t.spoke_utc < t.restored_utc then 1
            else 0
        end as n_ended_unseen,
        case when k.from_utc is null then 0 else 1 end as n_lacking
    from told as t
    left join lacking as k
        on
            t.account_key = k.account_key
            and t.path = k.path
            and t.started_utc = k.started_utc
    union all
    select
        account_key,
        path,
        last_word_utc as started_utc,
        last_word_utc,
        greatest(last_word_utc, cast($from as timestamp)) as from_utc,
        0 as n_shared,
        least(restored_utc, cast($until as timestamp)) as until_utc,
        0 as n_ended_unseen,
        0 as n_lacking
    from told
    where spoke_utc <= last_word_utc and restored_utc is not null
),
stepped as (
    select
        *,
        max(until_utc) over (
            partition by account_key, path
            order by from_utc, until_utc
            rows between unbounded preceding and 1 preceding
        ) as covered_utc
    from known
    where until_utc > $from or last_word_utc >= $from
),
lost as (
    select
        account_key,
        path,
        count(*) as n_losses,
        sum(greatest(
            0,
            epoch(until_utc)
            - epoch(greatest(from_utc, coalesce(covered_utc, from_utc)))
        )) as lost_s,
        sum(n_ended_unseen) as n_ended_unseen,
        sum(n_lacking) as n_lacking,
        sum(n_shared) as n_shared,
        min(started_utc) as first_utc,
        max(until_utc) as last_utc
    from stepped
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
        coalesce(l.n_ended_unseen, 0) as n_ended_unseen,
        coalesce(l.n_lacking, 0) as n_lacking,
        coalesce(l.n_shared, 0) as n_shared,
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
        when n_ended_unseen > 0 or n_lacking > 0 then 'not_judged'
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
        when n_ended_unseen > 0
            then 'no restore came, yet the path spoke later'
        when n_lacking > 0
            then 'the restore may lie in hours that the log lacks'
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
    n_excused + n_lacking + n_shared as excused_count,
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
    standing,
    case when checks_in = 'yes' then seconds / 4.0 else 0 end as finest_s
from joined
