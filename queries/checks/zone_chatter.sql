-- purpose: one point that opens and closes for seconds, again and again
-- grain:   one row per account, partition and zone with a short opening
-- reads:   episodes, on_test, inspections, excuses, accounts, limits
-- params:  $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [signals in the
--          window]; k short openings of n
-- Waterflow is left out: each is an alarm and has a check of its own. Signals
-- on test or in what looks like an inspection are a technician's. Where every
-- time falls on a whole minute, the export keeps minutes and seconds are
-- unknown.
with
begun as (
    select
        e.account_key,
        e.family,
        e.partition,
        e.zone,
        e.started_utc,
        e.restored_utc,
        e.n_doubt,
        1 + case when e.restored_utc is null then 0 else 1 end as n_signals,
        epoch(e.restored_utc) - epoch(e.started_utc) as open_s,
        case
            when date_trunc('minute', e.started_utc) <> e.started_utc then 1
            when date_trunc('minute', e.restored_utc) <> e.restored_utc
                then 1
            else 0
        end as is_fine
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    where
        a.monitored
        and e.started_utc >= $from
        and e.started_utc < $until
        and e.zone not in ('', '000')
        and e.family <> '113'
        and e.code_group in (
            'alarm_fire', 'alarm_burglary', 'alarm_other', 'supervisory',
            'tamper', 'trouble', 'supervision'
        )
),
tried as (
    select distinct b.account_key, b.started_utc
    from begun as b
    inner join on_test as t
        on
            b.account_key = t.account_key
            and b.started_utc >= t.from_utc
            and (t.until_utc is null or b.started_utc < t.until_utc)
    union
    select distinct b.account_key, b.started_utc
    from begun as b
    inner join inspections as i
        on
            b.account_key = i.account_key
            and b.started_utc >= i.from_utc
            and b.started_utc <= i.until_utc
),
counted as (
    select b.*, t.account_key is not null as is_tried
    from begun as b
    left join tried as t
        on b.account_key = t.account_key and b.started_utc = t.started_utc
),
whole as (
    select account_key, sum(n_signals) as n_signals, sum(is_fine) as n_fine
    from counted
    where not is_tried
    group by account_key
),
points as (
    select
        c.account_key,
        c.partition,
        c.zone,
        count(*) filter (where not c.is_tried) as n_openings,
        count(*) filter (where not c.is_tried and c.open_s < s.value)
            as n_short,
        count(*) filter (where not c.is_tried and c.restored_utc is not null)
            as n_ended,
        coalesce(sum(c.n_signals) filter (where not c.is_tried), 0)
            as n_signals,
        count(*) filter (where c.is_tried) as n_tried,
        min(c.started_utc) as first_utc,
        max(c.started_utc) as last_utc,
        sum(c.n_doubt) as n_doubt
    from counted as c
    inner join limits as s
        on c.account_key = s.account_key and s.name = 'seconds'
    group by c.account_key, c.partition, c.zone
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
        p.*,
        w.n_fine,
        e.value as limit_n,
        p.n_signals > h.value * w.n_signals as is_most,
        2 * p.n_short > p.n_ended as is_short,
        p.n_signals
        * (epoch(cast($until as timestamp)) - epoch(cast($from as timestamp)))
        >= e.value
        * (
            epoch(cast($until as timestamp)) - epoch(cast($from as timestamp))
            - coalesce(k.lacking_s, 0)
        ) as may_be_more
    from points as p
    inner join limits as e
        on p.account_key = e.account_key and e.name = 'signals'
    inner join limits as h
        on p.account_key = h.account_key and h.name = 'share'
    left join whole as w on p.account_key = w.account_key
    left join lacking as k on p.account_key = k.account_key
)
select
    account_key,
    'zone=' || partition || '/' || zone as subject,
    case
        when n_signals >= limit_n and coalesce(n_fine, 0) = 0
            then 'not_judged'
        when n_signals >= limit_n and is_short and is_most then 'finding'
        when may_be_more and n_signals < limit_n and is_short and is_most
            then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when n_signals >= limit_n and coalesce(n_fine, 0) = 0
            then 'times are kept by the minute only'
        when n_signals >= limit_n and is_short and is_most then ''
        when may_be_more and n_signals < limit_n and is_short and is_most
            then 'too much of the window is not in the log'
        when n_openings = 0 then 'only on test or in an inspection'
        when n_signals < limit_n then 'few signals'
        when not is_short then 'open for longer than moments'
        else 'other points say as much'
    end as reason,
    cast(n_signals as double) as measured,
    limit_n as limit_value,
    'signals' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_signals as evidence_count,
    n_tried as excused_count,
    case when n_signals >= 3 * limit_n then 3 else 2 end as grade,
    n_short as k,
    n_openings as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
