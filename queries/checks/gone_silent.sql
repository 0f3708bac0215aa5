-- purpose: an account that used to talk and says nothing any more
-- grain:   one row per monitored account that was heard before
-- reads:   accounts, heard, life, visible_requirements, test_measures,
--          test_rhythm, excuses, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Where an interval is required and has been kept before, that many intervals
-- may pass (of its own rhythm, where that is longer: the interval has a check
-- of its own). A figure from memory counts as its own past where its own tests
-- bear it out, and as nothing beyond the long limit. Where none is known, a
-- long fixed limit holds and the account's own past must make such a silence
-- improbable. While another line can be heard, the interval of a path whose
-- own lines are out at $as_of is no measure. Where only one path was still
-- alive when the silence began, hours missing of that path alone are hidden.
-- P(0 days heard in L | d days heard in T)
-- = (T / (T + L)) ^ (d + 1/2), the gamma-Poisson prediction.
with
holes_now as (
    select distinct account_key, path
    from excuses
    where
        why <> 'on_test'
        and from_utc <= $as_of
        and until_utc >= $as_of
),
out_now as (
    select h.account_key, h.path
    from holes_now as h
    left join holes_now as w on h.account_key = w.account_key and w.path = ''
    where h.path <> '' and w.account_key is null
),
waived as (
    select v.account_key, count(*) as n_waived
    from visible_requirements as v
    inner join out_now as o
        on v.account_key = o.account_key and v.path = o.path
    group by v.account_key
),
kept as (
    select
        v.account_key,
        greatest(v.seconds, coalesce(r.period_s, 0)) as seconds,
        v.grace_s,
        case
            when v.standing = 'memory' and r.period_s is not null
                then 'inferred'
            else v.source
        end as source,
        case
            when v.standing = 'memory' and r.period_s is not null
                then 'own past'
            else v.standing
        end as standing
    from visible_requirements as v
    left join test_measures as m
        on
            v.account_key = m.account_key
            and v.path = m.path
            and v.what = m.what
    left join test_rhythm as r
        on v.account_key = r.account_key and v.path = r.path
    left join out_now as o
        on v.account_key = o.account_key and v.path = o.path
    where
        (v.what = 'supervision' or m.n_ever > 0)
        and o.account_key is null
),
required as (
    select account_key, seconds, grace_s, source, standing
    from kept
    qualify
        row_number() over (
            partition by account_key
            order by
                seconds,
                case when standing = 'memory' then 1 else 0 end,
                grace_s, source, standing
        ) = 1
),
silent as (
    select
        a.account_key,
        h.last_utc,
        h.days_heard,
        r.seconds,
        r.grace_s,
        r.source,
        r.standing,
        i.value as intervals,
        o.value * 3600 as no_interval_s,
        p.value as chance,
        greatest(epoch(h.last_utc) - epoch(h.first_utc), 86400) as life_s,
        epoch($as_of) - epoch(h.last_utc) as gap_s,
        r.account_key is null and w.n_waived > 0 as is_waived
    from accounts as a
    inner join heard as h on a.account_key = h.account_key
    inner join limits as i
        on a.account_key = i.account_key and i.name = 'intervals'
    inner join limits as o
        on a.account_key = o.account_key and o.name = 'no_interval_h'
    inner join limits as p
        on a.account_key = p.account_key and p.name = 'chance'
    left join required as r on a.account_key = r.account_key
    left join waived as w on a.account_key = w.account_key
    where a.monitored
),
heard_by as (
    select account_key, path, max(last_utc) as last_utc
    from life
    where path <> ''
    group by account_key, path
),
alive as (
    select
        b.account_key,
        max(b.path) as path,
        count(*) as n_alive
    from heard_by as b
    inner join silent as s on b.account_key = s.account_key
    left join (
        select account_key, path, max(seconds + grace_s) as may_s
        from visible_requirements
        group by account_key, path
    ) as v on b.account_key = v.account_key and b.path = v.path
    where
        epoch(s.last_utc) - epoch(b.last_utc)
        <= coalesce(v.may_s, s.no_interval_s)
    group by b.account_key
),
hidden as (
    select
        e.account_key,
        sum(
            epoch(least(e.until_utc, $as_of))
            - epoch(greatest(e.from_utc, s.last_utc))
        ) as hidden_s
    from excuses as e
    inner join silent as s on e.account_key = s.account_key
    left join alive as v on e.account_key = v.account_key and v.n_alive = 1
    where
        e.path = coalesce(v.path, '')
        and e.why <> 'on_test'
        and e.until_utc > s.last_utc
        and e.from_utc < $as_of
    group by e.account_key
),
clocked as (
    select
        s.*,
        coalesce(h.hidden_s, 0) as hidden_s,
        s.gap_s - coalesce(h.hidden_s, 0) as open_s,
        case
            when s.seconds is null then s.no_interval_s
            else s.seconds * s.intervals + s.grace_s
        end as limit_s,
        power(
            s.life_s
            / (s.life_s + greatest(s.gap_s - coalesce(h.hidden_s, 0), 0)),
            s.days_heard + 0.5
        ) as p_silence
    from silent as s
    left join hidden as h on s.account_key = h.account_key
)
select
    account_key,
    '' as subject,
    case
        when is_waived then 'not_judged'
        when open_s <= limit_s and gap_s <= limit_s then 'sound'
        when open_s <= limit_s then 'not_judged'
        when seconds is null and p_silence > chance then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when is_waived then 'excused by an incident or missing log'
        when open_s <= limit_s and gap_s <= limit_s then ''
        when open_s <= limit_s then 'excused by an incident or missing log'
        when seconds is null and p_silence > chance
            then 'no interval known and seldom heard'
        else ''
    end as reason,
    open_s / 3600 as measured,
    limit_s / 3600 as limit_value,
    'h' as unit,
    last_utc as since_utc,
    $as_of as until_utc,
    last_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_utc as last_good_utc,
    1 as evidence_count,
    case when hidden_s > 0 then 1 else 0 end as excused_count,
    case when open_s > 2 * limit_s then 3 else 2 end as grade,
    0 as k,
    0 as n,
    case when source = 'inferred' then 1 else 0 end as inferred,
    case
        when
            standing = 'memory'
            and open_s > no_interval_s
            and p_silence <= chance
            then ''
        else coalesce(standing, '')
    end as standing
from clocked
