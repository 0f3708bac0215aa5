-- purpose: mains power that goes and comes back again and again
-- grain:   one row per account with a mains loss in the window
-- reads:   episodes, calendar, on_test, excuses, shared_losses, accounts,
--          limits
-- params:  $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [losses in the
--          window]; k of them shorter than an hour
-- Losses on test, or that many accounts share, are left out. Losses that begin
-- within one hour of the local day, on three days or more, go by a clock: a
-- switched outlet, a time switch, a closing hour. Few are sound only if the
-- same pace over the hours that the log lacks stays few.
with
begun as (
    select
        e.account_key,
        e.family,
        e.partition,
        e.zone,
        e.origin,
        e.started_utc,
        e.restored_utc,
        e.n_doubt,
        case when s.account_key is null then 0 else 1 end as is_shared,
        floor((epoch(e.started_utc) + c.offset_s) / 86400) as day_no,
        epoch(e.started_utc) + c.offset_s
        - 86400 * floor((epoch(e.started_utc) + c.offset_s) / 86400)
            as second_of_day
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    inner join calendar as c
        on e.started_utc >= c.from_utc and e.started_utc < c.until_utc
    left join shared_losses as s
        on
            e.account_key = s.account_key
            and e.family = s.family
            and e.partition = s.partition
            and e.zone = s.zone
            and e.started_utc = s.started_utc
    where
        a.monitored
        and e.family in ('301', '314', '342')
        and e.started_utc >= $from
        and e.started_utc < $until
),
tried as (
    select
        b.account_key,
        b.family,
        b.partition,
        b.zone,
        b.started_utc,
        count(*) as n_spans
    from begun as b
    inner join on_test as t
        on
            b.account_key = t.account_key
            and b.started_utc >= t.from_utc
            and (t.until_utc is null or b.started_utc < t.until_utc)
    group by b.account_key, b.family, b.partition, b.zone, b.started_utc
),
marked as (
    select
        b.*,
        t.n_spans is null and b.is_shared = 0 as is_own,
        case
            when b.second_of_day < 43200 then b.second_of_day + 86400
            else b.second_of_day
        end as second_of_night
    from begun as b
    left join tried as t
        on
            b.account_key = t.account_key
            and b.family = t.family
            and b.partition = t.partition
            and b.zone = t.zone
            and b.started_utc = t.started_utc
),
counted as (
    select
        account_key,
        count(*) filter (where is_own) as n_losses,
        count(*) filter (
            where
            is_own and epoch(restored_utc) - epoch(started_utc) < 3600
        ) as n_short,
        count(*) filter (where not is_own) as n_left_out,
        count(distinct case when is_own then day_no end) as n_days,
        least(
            max(case when is_own then second_of_day end)
            - min(case when is_own then second_of_day end),
            max(case when is_own then second_of_night end)
            - min(case when is_own then second_of_night end)
        ) as spread_s,
        count(*) filter (where is_own and origin <> 'communicator')
            as n_not_transmitter,
        min(started_utc) as first_utc,
        max(started_utc) as last_utc,
        max(restored_utc) as restored_utc,
        sum(n_doubt) as n_doubt
    from marked
    group by account_key
),
lacking as (
    select
        account_key,
        sum(
            epoch(least(until_utc, cast($until as timestamp)))
            - epoch(greatest(from_utc, cast($from as timestamp)))
        ) as lacking_s
    from excuses
    where
        path = ''
        and why <> 'on_test'
        and until_utc > $from
        and from_utc < $until
    group by account_key
),
judged as (
    select
        c.*,
        l.value as limit_n,
        c.n_days >= 3 and c.spread_s <= 3600 as is_clocked,
        epoch(cast($until as timestamp)) - epoch(cast($from as timestamp))
            as window_s,
        coalesce(k.lacking_s, 0) as lacking_s
    from counted as c
    inner join limits as l
        on c.account_key = l.account_key and l.name = 'losses'
    left join lacking as k on c.account_key = k.account_key
)
select
    account_key,
    '' as subject,
    case
        when n_losses >= limit_n then 'finding'
        when n_losses * window_s >= limit_n * (window_s - lacking_s)
            then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when n_losses >= limit_n and is_clocked and n_not_transmitter = 0
            then 'the transmitter alone, at the same hour of the day'
        when n_losses >= limit_n and is_clocked
            then 'at the same hour of the day'
        when n_losses >= limit_n and n_not_transmitter = 0
            then 'the transmitter alone'
        when n_losses >= limit_n and n_short >= 0.7 * n_losses
            then 'most of them short: it may be reported without delay'
        when n_losses >= limit_n then ''
        when n_losses * window_s >= limit_n * (window_s - lacking_s)
            then 'too much of the window is not in the log'
        when n_losses = 0 then 'only while on test or in an incident'
        else 'seldom'
    end as reason,
    cast(n_losses as double) as measured,
    limit_n as limit_value,
    'losses' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    restored_utc as last_good_utc,
    n_losses as evidence_count,
    n_left_out as excused_count,
    case
        when n_losses >= limit_n and (is_clocked or n_losses >= 3 * limit_n)
            then 3
        else 2
    end as grade,
    n_short as k,
    n_losses as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
